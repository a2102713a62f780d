"""`warm-up`: start from cold, losses, inventory and what is refused."""

from typing import Any

import msgspec
import numpy as np
import pytest

from loopmargin_service.physics import heat_store
from loopmargin_service.questions import warm_up
from loopmargin_service.questions.refusals import Refusal
from loopmargin_wire.warm_up import WarmUpAnswer, WarmUpQuestion, WarmUpState
from tests.unit.questions.asked import (
    Changes,
    codes,
    example,
    fault_of,
    machine_state,
    margin_of,
)
from tests.unit.questions.sound import broken_promises

ELEMENTS = "machine/branches/0/elements"
CARD, PROCESSOR, RADIATOR = (f"{ELEMENTS}/{place}" for place in (2, 3, 6))
FANNED = example("warm-up")["machine"]["branches"][0]["elements"][6]
SECOND = {f"{ELEMENTS}/9": {**FANNED, "name": "booth radiator"}}


def ask(changes: Changes | None = None) -> WarmUpAnswer:
    """Ask the example with some changes."""
    return warm_up.answer(msgspec.convert(example("warm-up", changes), WarmUpQuestion))


def state_of(changes: Changes | None = None) -> WarmUpState:
    """Ask for a machine that has a state to report."""
    state = ask(changes).state
    assert state is not None
    return state


def test_example_keeps_every_promise() -> None:
    """Finite numbers, consistent margins, pointers that lead somewhere, a whole echo."""
    answer = ask()

    assert broken_promises(answer.question, answer, answer.question.machine.confidence) == []
    assert answer.outcome.status == "solved"
    assert len(set(answer.cautions)) == len(answer.cautions)
    assert any("Never stop a pump or a fan" in caution for caution in answer.cautions)


def test_it_settles_where_steady_state_says() -> None:
    """Coolant and components end at the equilibrium, and losses begin there."""
    settled, state = machine_state(), state_of()

    assert state.coolant.equilibrium_c == pytest.approx(settled.coolant_hottest_c, abs=2e-3)
    for part, point in zip(state.components, settled.components, strict=True):
        assert part.component == point.component
        assert part.equilibrium_c == pytest.approx(point.component_c, abs=2e-3)
    for loss in state.losses:
        assert loss.trace.coolant_c[0] == pytest.approx(settled.coolant_hottest_c, abs=2e-3)
        begin = [item.component_c[0] for item in loss.trace.components]
        assert begin == pytest.approx([p.component_c for p in settled.components], abs=2e-3)


def test_trace_of_the_start_passes_its_own_times() -> None:
    """At the times stated the trace has 95 % and 99 % of the rise."""
    state = state_of()
    rise = np.array(state.start.coolant_c) - 27.0
    end = state.coolant.equilibrium_c - 27.0

    assert state.start.coolant_c[0] == pytest.approx(27.0)
    assert list(rise) == sorted(rise)
    for share, time in ((0.95, state.coolant.to_95_s), (0.99, state.coolant.to_99_s)):
        assert time is not None
        assert np.interp(time, state.start.time_s, rise) == pytest.approx(share * end, rel=1e-3)


def test_a_reading_counts_when_the_error_left_is_small() -> None:
    """The slope stated, times the time constant, is the error left; all parts have settled."""
    state = state_of({"reading_error_fraction": 0.05})
    rise = state.coolant.equilibrium_c - 27.0

    assert state.reading.remaining_error_k == pytest.approx(0.05 * rise)
    slope = state.reading.slope_k_per_min / 60.0
    assert slope * state.time_constant_s == pytest.approx(0.05 * rise)
    every = [state.coolant.to_95_s, *(part.to_95_s for part in state.components)]
    assert state.reading.run_s == pytest.approx(max(time for time in every if time is not None))


def test_time_constant_is_about_heat_stored_over_conductance() -> None:
    """One capacity and one conductance to the room describe the machine to a fifth.

    Not all that is stored gets as warm as the hottest coolant, so it settles sooner.
    """
    settled, state = machine_state(), state_of()
    (radiator,) = settled.radiators
    whole = state.heat_capacity_j_per_k / radiator.conductance_w_per_k

    assert 0.8 * whole < state.time_constant_s < whole


def test_heat_capacity_is_that_of_what_is_listed() -> None:
    """A kilogram more of copper is a kilogram more of copper."""
    base = state_of().heat_capacity_j_per_k

    heavier = state_of({"blocks/0/copper_kg": 1.42}).heat_capacity_j_per_k

    assert heavier - base == pytest.approx(heat_store.COPPER)


def test_run_is_judged_when_one_is_planned() -> None:
    """A run of twice the time meets, half of it fails; without one nothing is judged."""
    needed = state_of().reading.run_s
    assert needed is not None
    verdicts = [
        margin_of(ask({"run_s": share * needed}), "run before a reading").verdict
        for share in (0.5, 1.1, 2.0)
    ]

    assert verdicts == ["fails", "tight", "meets"]
    assert all(row.criterion != "run before a reading" for row in ask({"run_s": None}).margins)


def test_a_machine_that_takes_longer_than_a_day_is_not_given_a_run() -> None:
    """A hundred litres settle after more than a day: no time is made up, and an hour fails."""
    answer = ask({"coolant_volume_ml": 100_000, "run_s": 3600})

    assert answer.state is not None
    assert answer.state.reading.run_s is None
    assert answer.state.simulation is not None
    spread = {row.quantity for row in answer.state.simulation.spreads}
    assert "time constant" in spread
    assert "run before a reading" not in spread
    assert margin_of(answer, "run before a reading").verdict == "fails"


def test_what_is_not_listed_is_assumed_and_noted() -> None:
    """Defaults are those of the wire; coolant is added up from tubes, parts and reservoir."""
    answer = ask({"blocks": [], "radiators": [], "coolant_volume_ml": None})
    listed = ask()

    assumed = {"blocks_assumed", "radiators_assumed", "coolant_volume_assumed"}
    assert assumed <= set(codes(answer))
    assert not assumed & set(codes(listed))
    assert answer.state is not None
    tubes = 0.25 * np.pi * 1.0**2 * (70.0 + 60.0 + 60.0)
    assert answer.state.coolant_volume_ml == pytest.approx(tubes + 2 * 20.0 + 100.0 + 150.0)


@pytest.mark.parametrize(
    ("changes", "place"),
    [
        ({"blocks/0/block": "heater"}, "blocks/0/block"),
        ({"blocks/1/block": "card"}, "blocks/1/block"),
        ({"radiators/0/radiator": "card"}, "radiators/0/radiator"),
        ({"coolant_volume_ml": 250}, "coolant_volume_ml"),
        ({"machine/room/air_c": -15}, "machine/room/air_c"),
        ({"machine/reservoir/node": "nowhere"}, "machine/reservoir/node"),
        ({ELEMENTS: [FANNED] * 33}, "machine/branches"),
    ],
)
def test_contradictions_are_refused_by_place(changes: dict[str, Any], place: str) -> None:
    """Names that do not fit, too little coolant, and the machine's own contradictions."""
    without = {"blocks": [], "radiators": []} if ELEMENTS in changes else {}
    with pytest.raises(Refusal) as refused:
        ask({**without, **changes})

    assert fault_of(refused.value)[0] == place
    assert len(fault_of(refused.value)[1]) > 20


def test_a_machine_that_cannot_settle_has_no_times() -> None:
    """The outcome is that of the machine, with its advice."""
    answer = ask({f"{CARD}/power_w": 3000})

    assert answer.state is None
    assert answer.margins == ()
    assert answer.outcome.status == "outside_validity"
    assert answer.outcome.advice


def test_notes_of_the_machine_point_into_the_machine() -> None:
    """Pointers of the embedded question have its name in front."""
    pointers = [note.pointer for note in ask().notes if note.pointer]
    assert pointers
    assert all(pointer.startswith("/machine/") for pointer in pointers)


def test_a_block_better_than_its_stream_still_settles_right() -> None:
    """A resistance of nothing leaves the part at the temperature of the entering coolant."""
    ideal = {
        f"{PROCESSOR}/resistance": {"kind": "constant", "resistance_k_per_w": 0},
        f"{PROCESSOR}/interface_k_per_w": 0,
    }
    answer = ask(ideal)

    assert answer.state is not None
    settled = machine_state({name.removeprefix("machine/"): item for name, item in ideal.items()})
    found = [part.equilibrium_c for part in answer.state.components]
    assert found == pytest.approx([part.component_c for part in settled.components], abs=2e-3)
