"""The speed that the required flows need, and the curves over speed."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from loopmargin_service.physics.curve import falling_curve, value_and_slope
from loopmargin_service.questions import pump_speed
from loopmargin_service.questions.loop_curve import (
    FASTEST,
    SLOWEST,
    SPEED_GRID,
    free_flow,
    speed_for,
)
from tests.unit.questions.asked import loop_state
from tests.unit.questions.test_operating_point import BAR_M, ask_bare, bare, bare_flow

PUMP = {
    "curve": [{"flow_l_per_min": 0, "head_m": 4}, {"flow_l_per_min": 10, "head_m": 0}],
    "curve_speed_rpm": 3000,
}
# Two branches in parallel, of which the second is the narrower one.
SIDE_BY_SIDE = [
    {"name": name, "elements": [{"kind": "quick_disconnect", "kv_m3_per_h": kv}]}
    for name, kv in (("wide", 0.6), ("narrow", 0.3))
]


@pytest.mark.parametrize("share", [0.01, 0.05, 0.2, 0.5, 0.9, 1.0, 1.5, 3.9])
def test_speed_of_a_square_law(share: float) -> None:
    """With a square law in pump and loop alike, flow goes exactly as speed."""
    needed = bare({"required_flow_l_per_min": share * bare_flow(0.6)}).speed_fraction_needed
    assert share == pytest.approx(needed, rel=1e-5)


def test_affinity_of_the_operating_point() -> None:
    """Half the speed gives half the flow and a quarter of the head."""
    full, half = bare(), bare({"pumps/0/speed_rpm": 1500})

    assert half.flow_l_per_min == pytest.approx(0.5 * full.flow_l_per_min, rel=1e-8)
    assert half.head_m == pytest.approx(0.25 * full.head_m, rel=1e-7)
    assert half.speed_fraction_needed == pytest.approx(2.0 * (full.speed_fraction_needed or 0.0))


@settings(max_examples=25, deadline=None)
@given(wanted=st.floats(0.3, 8.0))
def test_needed_speed_gives_the_required_flow(wanted: float) -> None:
    """Put back as the speed of the pump, it gives the flow that was asked for."""
    needed = loop_state({"required_flow_l_per_min": wanted}).speed_fraction_needed

    assert needed is not None
    again = loop_state({"required_flow_l_per_min": wanted, "pumps/0/speed_rpm": 2900 * needed})
    assert wanted == pytest.approx(again.flow_l_per_min, rel=1e-4)
    assert again.speed_fraction_needed == pytest.approx(1.0, rel=1e-4)


def test_branch_that_needs_the_most_governs() -> None:
    """The speed is that at which the last branch gets its flow, not the total."""
    asked = {"branches": SIDE_BY_SIDE, "branches/1/required_flow_l_per_min": 2.5}
    needed = bare(asked).speed_fraction_needed

    assert needed is not None
    again = bare({**asked, "pumps/0/speed_rpm": 3000 * needed})
    assert again.branches[1].flow_l_per_min == pytest.approx(2.5, rel=1e-4)
    assert again.flow_l_per_min == pytest.approx(7.5, rel=1e-4)


def test_total_governs_when_the_branches_have_enough() -> None:
    """A branch that gets more than it asks for does not lower the speed for the total."""
    asked = {"branches": SIDE_BY_SIDE, "branches/1/required_flow_l_per_min": 0.1}
    alone = bare({"branches": SIDE_BY_SIDE}).speed_fraction_needed
    assert alone == pytest.approx(bare(asked).speed_fraction_needed, rel=1e-6)


def test_speed_known_well_enough_ends_the_search(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where no flow is close enough, the speed is closed in on, and the faster end is told."""
    asked = {"branches": SIDE_BY_SIDE, "branches/1/required_flow_l_per_min": 2.5}
    near = bare(asked).speed_fraction_needed
    monkeypatch.setattr(pump_speed, "SHARE_TOLERANCE", 0.0)
    needed = bare(asked).speed_fraction_needed

    assert needed == pytest.approx(near, rel=2e-6)
    assert needed is not None
    assert bare({**asked, "pumps/0/speed_rpm": 3000 * needed}).branches[1].flow_l_per_min >= 2.5 * (
        1.0 - 1e-9
    )


def test_two_pumps_keep_their_proportion() -> None:
    """One factor on both speeds gives the required flow."""
    second = {"from_node": "suction", "to_node": "delivery", "speed_rpm": 2400}
    asked = {"pumps/1": {**PUMP, **second}, "required_flow_l_per_min": 6}
    needed = bare(asked).speed_fraction_needed

    assert needed is not None
    again = bare({**asked, "pumps/0/speed_rpm": 3000 * needed, "pumps/1/speed_rpm": 2400 * needed})
    assert again.flow_l_per_min == pytest.approx(6.0, rel=1e-4)


def test_speed_where_the_flow_turns_laminar() -> None:
    """Just below the transition the coolant runs more easily than a guess from above has it."""
    tube = {"kind": "tube", "name": "tube", "bore_mm": 8, "length_mm": 1000}
    asked = {"branches/0/elements/0": tube, "required_flow_l_per_min": 0.7}
    needed = bare({**asked, "branches/0/required_flow_l_per_min": 0.7}).speed_fraction_needed

    assert needed is not None
    again = bare({**asked, "pumps/0/speed_rpm": 3000 * needed})
    assert again.flow_l_per_min == pytest.approx(0.7, rel=1e-4)


def test_speed_of_many_tubes() -> None:
    """For one parabola and one tube the speed is a square root, found also by the way for branches.

    Flows from deep in laminar to turbulent flow. Of the speed found a little less is not enough.
    """
    draw = np.random.default_rng(14).uniform
    checked = 0
    for number in range(1500):
        bore, length, head = draw(3.0, 16.0), draw(100.0, 20000.0), draw(1.0, 20.0)
        wanted = float(np.exp(draw(math.log(0.05), math.log(12.0))))
        asked = {
            "branches/0/elements/0": {"kind": "tube", "bore_mm": bore, "length_mm": length},
            "branches/0/required_flow_l_per_min": wanted,
            "pumps/0/curve/0/head_m": head,
            "pumps/0/curve_speed_rpm": 5000.0,
            "pumps/0/speed_rpm": 2500.0,
            "required_flow_l_per_min": wanted,
            "uncertainty": None,
        }
        answer = ask_bare(asked)
        needed = answer.state and answer.state.speed_fraction_needed
        taken = next(row.demand for row in answer.margins if row.unit == "m")
        expected = 2.0 * math.sqrt(taken / head + (wanted / 10.0) ** 2)
        assert (needed is None) == (expected > 4.0)
        if needed is None:
            continue
        assert expected == pytest.approx(needed, rel=2e-6)
        if number % 10 == 0 and needed > 0.05:
            checked += 1
            for share, enough in ((1.0 + 2e-6, True), (1.0 - 1e-5, False)):
                again = bare({**asked, "pumps/0/speed_rpm": 2500.0 * needed * share})
                assert (again.flow_l_per_min >= wanted) == enough
    assert checked > 100


def test_speed_of_the_tube_that_lies_on_the_transition() -> None:
    """All speeds but the least are enough, and the flow hardly changes about the one needed."""
    wanted = 0.6427723155493061
    tube = {"kind": "tube", "bore_mm": 6.241951018357279, "length_mm": 1081.7830509452008}
    asked = {"branches/0/elements/0": tube, "pumps/0/curve/0/head_m": 2.5433629981394215}
    asked |= {"required_flow_l_per_min": wanted}
    alone = bare(asked).speed_fraction_needed
    needed = bare({**asked, "branches/0/required_flow_l_per_min": wanted}).speed_fraction_needed

    assert alone == pytest.approx(0.1362592, abs=5e-8)
    assert needed == pytest.approx(alone, rel=2e-6)


@pytest.mark.parametrize("step", [0, 9, 19, 20, 21, 22, 33, 39])
def test_speed_of_one_pump_at_a_place_of_the_grid(step: int) -> None:
    """Where the grid has a place at the speed sought, rounding does not lose it."""
    for scale in np.linspace(0.9, 1.1, 41):
        curve = falling_curve([0.0, 1e-4], [3.0 * scale, 0.0])
        true = SLOWEST * (FASTEST / SLOWEST) ** (step / (SPEED_GRID.size - 1))
        flow = 0.5e-4 * min(true, 1.0)
        head = float(value_and_slope(curve, flow, true)[0])
        assert speed_for(curve, flow, head, 1.0) == pytest.approx(true, rel=1e-6)


def test_free_flow_of_a_curve_that_ends_level() -> None:
    """The line beyond the last point leads to the free flow, however level the curve ends."""
    flow = np.array([0.0, 1.0, 1.5, 1.6, 2.4]) * 1e-4
    head = np.array([2.8, 1.9, 1.4, 0.5, 0.1])
    curve = falling_curve(flow, head)
    steepest = min(curve.slopes[-1], (head[-1] - head[-2]) / (flow[-1] - flow[-2]))
    for ratio in np.linspace(0.3, 3.0, 200):
        expected = ratio * (flow[-1] - head[-1] / steepest)
        assert free_flow(curve, float(ratio)) == pytest.approx(expected, rel=1e-9)


def test_slowest_speed_is_the_least_that_is_told() -> None:
    """A pump so strong that it need hardly turn is given one ten-thousandth of its speed."""
    strong = [{"flow_l_per_min": 0, "head_m": 30}, {"flow_l_per_min": 100, "head_m": 29}]
    wide = {"pumps/0/curve": strong, "branches/0/elements/0/kv_m3_per_h": 20}
    state = bare({**wide, "pumps/0/curve_speed_rpm": 1500, "required_flow_l_per_min": 0.05})

    assert state.speed_fraction_needed == 1e-4


def test_required_flow_beside_a_point_of_the_curve() -> None:
    """Two points of the curve that nearly coincide, around the operating point, do no harm."""
    kv = 0.06 * 4.0005 / math.sqrt(4.0 * (1.0 - 0.40005**2) / BAR_M)
    changes = {"branches/0/elements/0/kv_m3_per_h": kv, "required_flow_l_per_min": 4.001}

    assert bare(changes).flow_l_per_min == pytest.approx(4.0005, rel=1e-8)


def test_no_speed_is_enough() -> None:
    """Beyond four times the speed asked about there is no answer to give."""
    assert bare({"required_flow_l_per_min": 4.1 * bare_flow(0.6)}).speed_fraction_needed is None


def test_backward_branch_is_never_satisfied() -> None:
    """A branch through which the coolant runs backwards gets no flow at any speed."""
    branch = {
        "name": "backwards",
        "from_node": "suction",
        "to_node": "delivery",
        "elements": [{"kind": "quick_disconnect", "kv_m3_per_h": 0.6}],
        "required_flow_l_per_min": 1,
    }
    state = bare({"branches/1": branch})

    assert state.branches[1].flow_l_per_min < 0.0
    assert state.speed_fraction_needed is None


def test_curve_of_pump_and_loop() -> None:
    """The pump head falls, the loop head rises, and they cross at the operating point."""
    state = bare()
    rows = [(p.flow_l_per_min, p.pump_head_m, p.loop_head_m) for p in state.curve]

    assert rows == sorted(rows)
    assert [row[1] for row in rows] == sorted((row[1] for row in rows), reverse=True)
    assert [row[2] for row in rows] == sorted(row[2] for row in rows)
    above = [pumped > taken for _, pumped, taken in rows]
    assert above == [flow < state.flow_l_per_min for flow, _, _ in rows]
    assert {True, False} == set(above)


def test_points_of_the_curves() -> None:
    """Every point lies on the pump's parabola and on the square law of the loop."""
    for point in bare().curve:
        flow = point.flow_l_per_min
        assert point.pump_head_m == pytest.approx(4.0 * (1.0 - (flow / 10.0) ** 2), abs=1e-8)
        assert point.loop_head_m == pytest.approx(BAR_M * (0.06 * flow / 0.6) ** 2, rel=1e-6)


def test_no_curve_for_two_pumps() -> None:
    """Two pumps have no common curve to draw."""
    assert bare({"pumps/1": {**PUMP, "speed_rpm": 3000}}).curve == ()
