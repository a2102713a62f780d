"""`warm-up`: what follows when pumps or fans of a settled machine stop."""

import pytest

from loopmargin_service.physics import heat_store
from loopmargin_wire.warm_up import Loss, WarmUpState
from tests.unit.questions.asked import Changes, margin_of
from tests.unit.questions.test_warm_up import (
    CARD,
    FANNED,
    PROCESSOR,
    SECOND,
    ask,
    state_of,
)


def lost(state: WarmUpState, radiator: str | None = None) -> Loss:
    """Find the loss of the pumps, or of the fans of a radiator."""
    (found,) = [loss for loss in state.losses if loss.radiator == radiator]
    return found


def soonest(loss: Loss, component: str | None = None) -> float:
    """Give when the coolant, or a component, reaches its limit."""
    (found,) = [limit for limit in loss.limits if limit.component == component]
    assert found.to_limit_s is not None
    return found.to_limit_s


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
    (note,) = (note for note in answer.notes if note.code == "limit_not_reached")
    assert "part limit without pumps" in note.text
    assert "at least" in note.text


def test_only_bounds_are_noted_as_bounds() -> None:
    """The loaded example reaches its limits without pumps, and its reading settles."""
    answer = ask({"run_s": 3600})

    texts = [note.text for note in answer.notes if note.code == "limit_not_reached"]
    assert all("without pumps" not in text for text in texts)
    assert "reading_not_settled" not in [note.code for note in answer.notes]


def test_a_reading_that_never_settles_has_a_bound() -> None:
    """Fifty kilograms of warm plastics under a gentle load take more than a day."""
    slow = {"plastic_kg": 50, "plastic_fraction": 1.0, "coolant_volume_ml": 20_000}
    gentle = {"machine/branches/0/elements/6/fans/speed_rpm": 300, "reading_error_fraction": 0.0001}
    answer = ask({**slow, **gentle, f"{CARD}/power_w": 5, f"{PROCESSOR}/power_w": 5, "run_s": 9e3})

    assert answer.state is not None
    assert answer.state.reading.run_s is None
    assert "reading_not_settled" in [note.code for note in answer.notes]
    assert margin_of(answer, "run before a reading").demand == 86_400.0


def test_a_limit_that_is_passed_already_leaves_no_time() -> None:
    """A machine that fails at equilibrium has zero seconds."""
    answer = ask({"machine/coolant_limit_c": 40})

    assert answer.state is not None
    assert all(loss.limits[0].to_limit_s == 0.0 for loss in answer.state.losses)
    assert margin_of(answer, "coolant limit without pumps").verdict == "fails"


def test_shutdown_time_is_what_losses_are_judged_by() -> None:
    """Two seconds are enough for what a minute is not."""
    demands = {row.demand for row in ask({"shutdown_s": 2.0, "run_s": None}).margins}
    assert demands == {2.0}
    assert margin_of(ask({"shutdown_s": 2.0}), "part limit without pumps").verdict == "meets"
