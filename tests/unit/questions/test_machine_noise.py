"""A whole machine with a listener: the noise question's own numbers, and nothing else moved."""

from typing import Any

import msgspec
import pytest
from hypothesis import HealthCheck, given, settings

from loopmargin_service.questions import noise
from loopmargin_service.questions.machine_noise import noise_question
from loopmargin_service.questions.refusals import Refusal
from loopmargin_wire.noise import NoiseQuestion
from loopmargin_wire.sound import Listener
from loopmargin_wire.steady_state import SteadyStateQuestion
from loopmargin_wire.uncertainty import NoiseUncertainty
from tests.unit.questions.asked import (
    ask_machine,
    codes,
    example,
    machine_state,
    margin_of,
    pointer,
)
from tests.unit.questions.drawn import STEADY_STATE_QUESTIONS
from tests.unit.questions.sound import broken_promises

RADIATOR_FANS = "branches/0/elements/6/fans"
DEAF = {"listener": None}
SEED = "0123456789abcdef" * 2
SEEDED = {"uncertainty": {"seed": SEED}}
CASE_FANS = {
    "name": "rear fans",
    "fans": {**example("steady-state")["branches"][0]["elements"][6]["fans"], "count": 2},
    "area_cm2": 200.0,
    "air_path": "exhaust",
}


def question(changes: dict[str, Any] | None = None) -> SteadyStateQuestion:
    """Decode the example machine with some changes."""
    return msgspec.convert(example("steady-state", changes), SteadyStateQuestion)


def listening(changes: dict[str, Any] | None = None) -> NoiseQuestion:
    """Give the noise question that a machine poses."""
    machine = question(changes)
    assert isinstance(machine.listener, Listener)
    return noise_question(machine, machine.listener)


def test_state_and_margin_are_those_of_the_noise_question() -> None:
    """Asked by itself, the noise has the same numbers, to the last digit."""
    machine = ask_machine(SEEDED)
    alone = noise.answer(
        msgspec.structs.replace(listening(), uncertainty=NoiseUncertainty(seed=SEED))
    )

    assert machine.state is not None
    assert machine.state.noise == alone.state
    assert margin_of(machine, "noise at the listener") == alone.margins[0]


def test_example_of_noise_is_the_example_machine() -> None:
    """Both published examples are the same demo machine."""
    both = example("noise")["listener"], example("noise")["room"]

    assert both == (example("steady-state")["listener"], example("steady-state")["room"])
    level = noise.answer(msgspec.convert(example("noise"), NoiseQuestion)).state.level_dba
    assert level == noise.answer(listening()).state.level_dba


def test_without_a_listener_everything_else_is_equal() -> None:
    """Sound and listener move no other number."""
    heard, deaf = ask_machine(SEEDED), ask_machine({**DEAF, **SEEDED})

    assert heard.state is not None
    assert msgspec.structs.replace(heard.state, noise=None) == deaf.state
    assert [row for row in heard.margins if row.unit != "dBA"] == list(deaf.margins)


def test_pumps_radiator_fans_and_case_fans_are_all_heard() -> None:
    """Each is a source under the name of what it stands on, with its number and speed."""
    sources = listening({"case/fans": [CASE_FANS]}).sources

    found = [(source.name, source.count, source.speed_rpm) for source in sources]
    assert found == [
        ("booth pump", 1, 2900.0),
        ("dome radiator", 3, 900.0),
        ("rear fans", 2, 900.0),
    ]


def test_exponent_and_installation_come_from_the_parts() -> None:
    """What the fan, its place and the pump say is what the noise is computed with."""
    pump, fans = listening(
        {
            f"{RADIATOR_FANS}/fan/level_per_decade_db": 52.0,
            f"{RADIATOR_FANS}/installation_noise_db": 5.0,
            "pumps/0/level_per_decade_db": 33.0,
        }
    ).sources

    assert (fans.level_per_decade_db, fans.installation_noise_db) == (52.0, 5.0)
    assert (pump.level_per_decade_db, pump.installation_noise_db) == (33.0, -3.0)


def test_every_part_without_sound_is_named() -> None:
    """A level that leaves a source out would be a false promise."""
    with pytest.raises(Refusal) as caught:
        ask_machine({"pumps/0/sound": None, f"{RADIATOR_FANS}/fan/sound": None})

    assert [pointer(fault) for fault in caught.value.faults] == [
        "pumps/0/sound",
        f"{RADIATOR_FANS}/fan/sound",
    ]
    assert "leave out the listener" in caught.value.faults[0].detail


def test_sound_without_a_listener_is_no_contradiction() -> None:
    """Nobody listens, nothing is judged."""
    answer = ask_machine({**DEAF, "pumps/0/sound": None})

    assert not [row for row in answer.margins if row.unit == "dBA"]
    assert "installation_uncertain" not in codes(answer)


def test_too_loud_is_an_answer_with_advice() -> None:
    """The outcome names the criterion and a fan speed at which it would hold."""
    answer = ask_machine({"listener/allowed_dba": 20.0})

    assert margin_of(answer, "noise at the listener").verdict == "fails"
    assert "noise at the listener" in answer.outcome.reason
    assert (
        answer.outcome.advice
        == noise.answer(listening({"listener/allowed_dba": 20.0})).outcome.advice
    )


def test_noise_is_judged_where_the_machine_has_no_state() -> None:
    """A machine that settles too hot is as loud as it is."""
    hot = {"branches/0/elements/3/power_w": 3000, "rest_w": 3000, "uncertainty": None}
    answer = ask_machine(hot)

    assert answer.state is None
    alone = noise.answer(msgspec.structs.replace(listening(), uncertainty=None))
    assert margin_of(answer, "noise at the listener") == alone.margins[0]


def test_faster_fans_are_cooler_and_louder() -> None:
    """What a shop trades against each other."""
    slow, fast = machine_state(), machine_state({f"{RADIATOR_FANS}/speed_rpm": 1200.0})

    assert slow.noise is not None
    assert fast.noise is not None
    assert fast.coolant_hottest_c < slow.coolant_hottest_c
    assert fast.noise.level_dba > slow.noise.level_dba


@settings(max_examples=50, deadline=None, suppress_health_check=list(HealthCheck))
@given(machine=STEADY_STATE_QUESTIONS.filter(lambda drawn: drawn.listener is not None))
def test_any_machine_poses_a_sound_question(machine: SteadyStateQuestion) -> None:
    """Every fan and pump is a source, and the answer keeps its promises, settled or not."""
    assert machine.listener is not None
    posed = noise_question(machine, machine.listener)

    answer = noise.answer(posed)

    assert broken_promises(posed, answer, machine.confidence) == []
    assert len(posed.sources) >= len(machine.pumps) + len(machine.case.fans) + 1
