"""`warm-up`: start from cold, losses, inventory and what is refused."""

from typing import Any

import msgspec
import numpy as np
import pytest

from loopmargin_service.physics import heat_store
from loopmargin_service.questions import warm_up
from loopmargin_service.questions.refusals import Refusal
from loopmargin_wire.warm_up import Loss, WarmUpAnswer, WarmUpQuestion, WarmUpState
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


def lost(state: WarmUpState, radiator: str | None = None) -> Loss:
    """Find the loss of the pumps, or of the fans of a radiator."""
    (found,) = [loss for loss in state.losses if loss.radiator == radiator]
    return found


def soonest(loss: Loss, component: str | None = None) -> float:
    """Give when the coolant, or a component, reaches its limit."""
    (found,) = [limit for limit in loss.limits if limit.component == component]
    assert found.to_limit_s is not None
    return found.to_limit_s


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


def test_loss_of_pumps_is_power_over_what_the_block_holds() -> None:
    """The processor warms by P/C of 0.28 kg copper, 0.05 kg brass and 22 mL of coolant."""
    state = state_of()
    (_, processor) = lost(state).trace.components
    warming = processor.component_c[-1] - processor.component_c[0]
    per_second = warming / lost(state).trace.time_s[-1]
    metal = 0.28 * heat_store.COPPER + 0.05 * heat_store.BRASS

    coolant = 120.0 / per_second - metal

    # Twenty per cent of propylene glycol holds 3.9 to 4.0 J in a millilitre and kelvin.
    assert 22.0 * 3.9 < coolant < 22.0 * 4.05
    left = 80.0 - processor.component_c[0]
    assert soonest(lost(state), "processor") == pytest.approx(left / per_second, rel=1e-6)


def test_limits_are_listed_with_the_soonest_first() -> None:
    """And the trace goes a little beyond that one."""
    for loss in state_of(SECOND).losses:
        times = [limit.to_limit_s for limit in loss.limits]
        known = [time for time in times if time is not None]
        assert known == sorted(known)
        assert times[: len(known)] == known
        assert len(times) == 3


@pytest.mark.parametrize(
    ("changes", "longer"),
    [
        ({"coolant_volume_ml": 1500}, True),
        ({"radiators/0/copper_kg": 2.0}, True),
        ({"radiators/0/still_conductance_w_per_k": 6.0}, True),
        ({"machine/coolant_limit_c": 46}, False),
        ({f"{CARD}/power_w": 240}, False),
        ({"machine/rest_w": 90}, False),
    ],
)
def test_what_buys_time_without_fans(changes: Changes, longer: bool) -> None:  # noqa: FBT001 - a column
    """More to warm and a better standing radiator; not more heat or a lower limit."""
    base = soonest(lost(state_of(), "dome radiator"))
    assert longer == (soonest(lost(state_of(changes), "dome radiator")) > base)


def test_a_second_radiator_carries_the_machine_when_the_fans_of_one_stand() -> None:
    """Each loss is answered, and neither leads to a limit any more."""
    state = state_of(SECOND)

    assert [loss.radiator for loss in state.losses] == [None, "dome radiator", "booth radiator"]
    for loss in state.losses[1:]:
        assert [limit.to_limit_s for limit in loss.limits] == [None, None, None]
        assert loss.trace.time_s[-1] == pytest.approx(loss.followed_s)
        assert loss.trace.coolant_c[-1] > loss.trace.coolant_c[0]


def test_without_its_exhaust_a_machine_outlasts_one_without_its_radiator() -> None:
    """The fans of the radiator go on and push through the case; each place has its own loss."""
    rear = {"fans": {**FANNED["fans"], "count": 1}, "area_cm2": 200, "air_path": "exhaust"}
    both = [{**rear, "name": "rear exhaust"}, {**rear, "name": "top exhaust"}]
    answer = ask({"machine/case/fans": both, "machine/coolant_limit_c": 45})

    assert answer.state is not None
    assert [loss.case_fans for loss in answer.state.losses] == [
        *(None, None),
        *("rear exhaust", "top exhaust"),
    ]
    without = answer.state.losses[2]
    assert without.trace.coolant_c[-1] > without.trace.coolant_c[0]
    assert (without.radiator, without.still_conductance_w_per_k) == (None, None)
    assert answer.state.losses[2].limits == answer.state.losses[3].limits
    last = without.limits[0].to_limit_s
    assert last is None or last > soonest(lost(answer.state, "dome radiator"))
    assert margin_of(answer, "coolant limit without rear exhaust").verdict == "meets"


def test_limits_that_are_not_reached_have_no_time() -> None:
    """A machine at idle never gets hot, also without pumps; margins then take what was watched."""
    idle = {f"{CARD}/power_w": 0, f"{PROCESSOR}/power_w": 0, "machine/rest_w": 0}
    answer = ask(idle)

    assert answer.state is not None
    times = [limit.to_limit_s for limit in lost(answer.state).limits]
    assert times == [None, None, None]
    row = margin_of(answer, "part limit without pumps")
    assert (row.capacity, row.verdict) == (lost(answer.state).followed_s, "meets")


def test_a_limit_that_is_passed_already_leaves_no_time() -> None:
    """A machine that fails at equilibrium has zero seconds."""
    answer = ask({"machine/coolant_limit_c": 40})

    assert answer.state is not None
    assert all(loss.limits[0].to_limit_s == 0.0 for loss in answer.state.losses)
    assert margin_of(answer, "coolant limit without pumps").verdict == "fails"


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


def test_shutdown_time_is_what_losses_are_judged_by() -> None:
    """Two seconds are enough for what a minute is not."""
    demands = {row.demand for row in ask({"shutdown_s": 2.0, "run_s": None}).margins}
    assert demands == {2.0}
    assert margin_of(ask({"shutdown_s": 2.0}), "part limit without pumps").verdict == "meets"


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
