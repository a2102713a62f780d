"""`noise`: sources carried to the listener, added up and judged."""

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import msgspec
import numpy as np
import pytest
from hypothesis import given, settings

from loopmargin_service.questions import noise
from loopmargin_wire.noise import NoiseAnswer, NoiseQuestion
from tests.generated import questions
from tests.unit.questions.sound import broken_promises

EXAMPLE = Path(__file__).parents[3] / "openapi/examples/noise.question.json"
# The air of the reference density: 1.204 kg/m3 at sea level.
ROOM = {"air_c": 20.0}
FAN = {
    "kind": "fan",
    "name": "fan",
    "sound": {"kind": "dba", "level_dba": 30.0, "speed_rpm": 1500.0},
    "speed_rpm": 1500.0,
    "installation_noise_db": 0.0,
}
PUMP = {**FAN, "kind": "pump", "name": "pump"}
FREE = {"surroundings": "free_field", "allowed_dba": 40.0}


def changed(part: Mapping[str, Any], **fields: object) -> dict[str, Any]:
    """Copy a part with other fields; those of its sound are given by name as well."""
    sound = {name: fields.pop(name) for name in list(fields) if name in ("floor_dba", "distance_m")}
    return {**part, "sound": {**part["sound"], **sound}, **fields}


def ask(*sources: Mapping[str, Any], **listener: object) -> NoiseAnswer:
    """Ask for some sources at a listener a metre away in a free field."""
    document = {"room": ROOM, "sources": sources, "listener": {**FREE, **listener}}
    return noise.answer(msgspec.convert(document, NoiseQuestion))


def level(*sources: Mapping[str, Any], **listener: object) -> float:
    """Give the level of some sources."""
    return ask(*sources, **listener).state.level_dba


def codes(answer: NoiseAnswer) -> set[str]:
    """Collect the codes of all notes."""
    return {note.code for note in answer.notes}


def test_a_fan_as_it_was_measured() -> None:
    """At the speed, distance and density of the measurement the level is the measured one."""
    assert level(FAN) == pytest.approx(30.0, abs=0.01)
    assert level(PUMP) == pytest.approx(30.0)


@pytest.mark.parametrize(
    ("speed_rpm", "expected"),
    [(500.0, 15.31462), (1000.0, 21.43467), (1500.0, 30.13521), (2000.0, 36.89976)],
)
def test_speed_with_a_floor(speed_rpm: float, expected: float) -> None:
    """A floor of 15 dBA under 30 dBA at 1500 rpm and 55 dB for a tenfold speed."""
    slowed = changed(FAN, floor_dba=15.0, speed_rpm=speed_rpm)

    assert level(slowed) == pytest.approx(expected, abs=0.01)


def test_pumps_follow_their_own_exponent() -> None:
    """Half the speed takes 12 dB off a pump by default, and 9 dB with the least exponent."""
    half = changed(PUMP, speed_rpm=750.0)

    assert level(half) == pytest.approx(30.0 - 12.0412)
    assert level({**half, "level_per_decade_db": 30.0}) == pytest.approx(30.0 - 9.0309)


def test_equal_fans_and_unequal_sources() -> None:
    """Three equal fans are 4.77 dB above one; three entries of one fan are the same."""
    three = changed(FAN, count=3)

    assert level(three) == pytest.approx(level(FAN) + 4.7712, abs=1e-4)
    assert level(FAN, FAN, FAN) == pytest.approx(level(three))


@pytest.mark.parametrize(
    ("listener", "gain"),
    [
        ({"distance_m": 2.0}, -6.0206),
        ({"distance_m": 0.5}, 6.0206),
        ({"surroundings": "over_floor"}, 3.0103),
        ({"surroundings": "wall_and_floor"}, 6.0206),
    ],
)
def test_listener(listener: dict[str, object], gain: float) -> None:
    """Distance takes off and reflecting surfaces add."""
    assert level(FAN, **listener) == pytest.approx(level(FAN) + gain, abs=1e-4)


def test_place_of_the_measurement_is_undone() -> None:
    """30 dBA measured at 2 m are 36 dBA at 1 m."""
    assert level(changed(FAN, distance_m=2.0)) == pytest.approx(level(FAN) + 6.0206, abs=1e-4)


def test_installation_adds_as_it_is() -> None:
    """An allowance of 3 dB is 3 dB, and it is the default of fans and not of pumps."""
    open_fan = level(FAN)
    fan = {name: value for name, value in FAN.items() if name != "installation_noise_db"}
    pump = {**fan, "kind": "pump"}

    assert level(fan) == pytest.approx(open_fan + 3.0)
    assert level(pump) == pytest.approx(30.0)


def test_thin_air_makes_fans_quieter_and_pumps_not() -> None:
    """At 2000 m a fan loses 2.1 dB."""
    document = {"room": {"air_c": 20.0, "altitude_m": 2000.0}, "listener": FREE}

    def there(source: Mapping[str, Any]) -> float:
        question = msgspec.convert({**document, "sources": [source]}, NoiseQuestion)
        return noise.answer(question).state.level_dba

    assert there(FAN) == pytest.approx(30.0 - 2.12, abs=0.02)
    assert there(PUMP) == pytest.approx(30.0)


def test_octave_bands_are_weighted() -> None:
    """A level at 1 kHz alone counts in full; the same at 63 Hz loses 26.2 dB."""
    silent = [-20.0] * 8
    bands = {"kind": "octave_bands", "speed_rpm": 1500.0}
    high = {**PUMP, "sound": {**bands, "levels_db": [*silent[:4], 40.0, *silent[5:]]}}
    low = {**PUMP, "sound": {**bands, "levels_db": [70.0, *silent[1:]]}}

    assert level(high) == pytest.approx(40.0, abs=0.01)
    assert level(low) == pytest.approx(70.0 - 26.2, abs=0.05)


def test_third_octaves_start_at_50_hz() -> None:
    """The fourteenth band is 1 kHz, the first loses 30.2 dB."""
    bands = {"kind": "third_octave_bands", "speed_rpm": 1500.0}
    high = {**PUMP, "sound": {**bands, "levels_db": [-20.0] * 13 + [40.0]}}
    low = {**PUMP, "sound": {**bands, "levels_db": [80.0] + [-20.0] * 13}}

    assert level(high) == pytest.approx(40.0, abs=0.01)
    assert level(low) == pytest.approx(80.0 - 30.2, abs=0.05)


def test_background_is_added_and_seen() -> None:
    """A meter shows both; the level above the background and the correction belong to that."""
    state = ask(PUMP, background_dba=24.0).state

    assert state.level_dba == pytest.approx(30.0)
    assert state.with_background_dba == pytest.approx(30.9732, abs=1e-4)
    assert state.above_background_db == pytest.approx(6.9732, abs=1e-4)
    assert state.background_correction_db == pytest.approx(0.9732, abs=1e-4)
    assert all(point.with_background_dba is not None for point in state.curve)


def test_without_a_background_nothing_is_said_of_it() -> None:
    """Three fields are absent."""
    state = ask(FAN).state

    absent = (state.with_background_dba, state.above_background_db, state.background_correction_db)
    assert absent == (None, None, None)
    assert {point.with_background_dba for point in state.curve} == {None}


def test_margin_judges_the_machine_without_the_background() -> None:
    """Demand is the machine, capacity what is allowed; a loud background changes nothing."""
    quiet, loud = ask(FAN), ask(FAN, background_dba=60.0)

    (row,), (other,) = quiet.margins, loud.margins
    assert (row.demand, row.capacity, row.verdict) == (other.demand, other.capacity, other.verdict)
    assert (row.criterion, row.unit, row.capacity) == ("noise at the listener", "dBA", 40.0)
    assert row.demand == quiet.state.level_dba


@pytest.mark.parametrize(("count", "ratio"), [(1, 1.0), (3, 1.0), (1, 0.5)])
def test_uncertainty_of_one_and_of_more(count: int, ratio: float) -> None:
    """2 dB for itself, less for several; 1.5 dB and 5 dB for a tenfold speed in common."""
    speed = ratio * 1500.0
    state = ask(changed(FAN, count=count, speed_rpm=speed)).state

    law = 5.0 * np.log10(ratio)
    expected = np.sqrt(2.0**2 / count + 1.5**2 + law**2)
    assert state.standard_uncertainty_db == pytest.approx(expected, rel=0.1)


def test_tight_is_between_fails_and_meets() -> None:
    """The verdict follows the surplus and the confidence asked for."""
    verdicts = [ask(FAN, allowed_dba=allowed).margins[0].verdict for allowed in (29, 32, 40)]

    assert verdicts == ["fails", "tight", "meets"]


def test_dominating_source_and_shares() -> None:
    """The loudest is named, the shares add up to one and follow the levels."""
    state = ask(FAN, {**changed(PUMP), "speed_rpm": 1000.0}).state

    assert state.dominating_source == "fan"
    assert sum(row.share for row in state.sources) == pytest.approx(1.0)
    ratio = state.sources[0].share / state.sources[1].share
    gap = state.sources[0].level_dba - state.sources[1].level_dba
    assert ratio == pytest.approx(10.0 ** (gap / 10.0))


def test_curve_rises_with_the_fans_and_levels_off_at_the_pump() -> None:
    """At factor one it is the level asked about; it never falls below the pump."""
    pump = changed(PUMP, speed_rpm=1000.0)
    state = ask(FAN, pump).state

    heard = [point.level_dba for point in state.curve]
    assert heard == sorted(heard)
    (now,) = [point.level_dba for point in state.curve if point.fan_speed_factor == 1.0]
    assert now == pytest.approx(state.level_dba)
    assert level(pump) < heard[0] < level(pump) + 1.0


def test_without_fans_there_is_no_curve() -> None:
    """A pump alone has nothing to slow."""
    answer = ask(PUMP)

    assert answer.state.curve == ()
    assert "installation_uncertain" not in codes(answer)


def test_what_fails_is_told_a_fan_speed_that_holds() -> None:
    """The factor advised holds when it is asked about, the next one up does not."""
    loud = ask(FAN, allowed_dba=25.0)

    (advice,) = loud.outcome.advice
    factor = float(advice.split(" of these speeds", maxsplit=1)[0].removeprefix("Run all fans at "))
    assert level(changed(FAN, speed_rpm=1500.0 * factor)) <= 25.0
    assert level(changed(FAN, speed_rpm=1500.0 * (factor + 0.05))) > 25.0


def test_what_no_fan_speed_helps_names_the_source() -> None:
    """A pump behind louder fans is what is left when they are slowed."""
    answer = ask(changed(FAN, count=3), PUMP, allowed_dba=20.0)

    assert answer.outcome.reason.endswith("the loudest is fan")
    assert "pump is what is heard then" in answer.outcome.advice[0]


@pytest.mark.parametrize(
    ("speed_rpm", "listener", "code"),
    [
        (400.0, {}, "speed_law_range"),
        (2300.0, {}, "speed_law_range"),
        (1500.0, {"distance_m": 0.6}, "near_field"),
        (1500.0, {"background_dba": 28.5}, "background_too_loud_to_measure"),
    ],
)
def test_notes(speed_rpm: float, listener: dict[str, object], code: str) -> None:
    """What is outside a range is noted, and only then."""
    assert code in codes(ask(changed(FAN, speed_rpm=speed_rpm), **listener))
    assert code not in codes(ask(FAN, background_dba=10.0))


def test_example() -> None:
    """Regression: own digits of the published example."""
    question = msgspec.convert(json.loads(EXAMPLE.read_bytes()), NoiseQuestion)

    state = noise.answer(question).state

    assert state.level_dba == pytest.approx(25.661, abs=1e-3)
    assert state.dominating_source == "dome radiator fans"


@settings(max_examples=100, deadline=None)
@given(question=questions(NoiseQuestion))
def test_any_question(question: NoiseQuestion) -> None:
    """Every question inside the limits is answered, and the answer keeps all its promises."""
    answer = noise.answer(question)

    assert broken_promises(question, answer, question.confidence) == []
