"""The example machine in other words: names, order, units and ways back change no number."""

import math
from typing import Any

import msgspec
import pytest
from hypothesis import Phase, given, settings
from hypothesis import strategies as st

from loopmargin_service.questions import solve_for, steady_state
from loopmargin_wire.solve_for import SolveForQuestion
from loopmargin_wire.steady_state import MachineState, SteadyStateQuestion
from tests.unit.questions.asked import changed, example

FEW = settings(
    derandomize=True, deadline=None, max_examples=10, phases=(Phase.explicit, Phase.generate)
)
# Twice what is left of a temperature when the repetition stops.
SETTLED = 1e-3
RADIATOR = "branches/0/elements/6"
FANS = f"{RADIATOR}/fans"


def machine(**changes: object) -> dict[str, Any]:
    """Copy the example without draws and listener, no block's limit in the way."""
    free = {f"branches/0/elements/{block}/limit_c": 140.0 for block in (2, 3)}
    document: dict[str, Any] = example("steady-state", {"uncertainty": None, **free})
    document.pop("listener")
    return {**document, **changes}


def solved(document: dict[str, Any]) -> MachineState:
    """Solve a machine that must work."""
    state = steady_state.answer(msgspec.convert(document, SteadyStateQuestion)).state
    assert state is not None
    return state


def side_by_side() -> dict[str, Any]:
    """Put the two blocks of the example into branches of their own, from delivery to a node."""
    document = machine()
    (loop,) = document["branches"]
    elements = loop["elements"]
    ends = {"from_node": "delivery", "to_node": "behind_the_blocks"}
    document["branches"] = [
        {"name": "card side", "elements": elements[:3], **ends},
        {"name": "processor side", "elements": elements[3:5], **ends},
        {"name": "way back", "elements": elements[5:], "from_node": ends["to_node"]},
    ]
    document["branches"][2]["to_node"] = "suction"
    return document


@FEW
@given(order=st.permutations(range(3)), name=st.from_regex(r"[a-z]{3,12}", fullmatch=True))
def test_order_and_names_of_branches_are_free(order: list[int], name: str) -> None:
    """Branches in another order, a junction under another name: the same machine."""
    document = side_by_side()
    plain = solved(document)
    text = msgspec.json.encode([document["branches"][number] for number in order]).decode()
    other = solved(
        {
            **document,
            "branches": msgspec.json.decode(text.replace("behind_the_blocks", f"x_{name}")),
        }
    )

    assert other.coolant_hottest_c == pytest.approx(plain.coolant_hottest_c, abs=SETTLED)
    assert other.flow_l_per_min == pytest.approx(plain.flow_l_per_min, rel=1e-5)
    flows = {branch.branch: branch.flow_l_per_min for branch in plain.branches}
    for branch in other.branches:
        assert branch.flow_l_per_min == pytest.approx(flows[branch.branch], rel=1e-5)


@FEW
@given(
    card=st.floats(50.0, 300.0),
    processor=st.floats(20.0, 150.0),
    fans=st.floats(500.0, 1500.0),
    pump=st.floats(2000.0, 4800.0),
)
def test_heat_and_coolant_are_neither_lost_nor_made(
    card: float, processor: float, fans: float, pump: float
) -> None:
    """What the parts give the coolant leaves by the radiator, and junctions keep nothing."""
    document = changed(
        side_by_side(),
        {
            "branches/0/elements/2/power_w": card,
            "branches/1/elements/0/power_w": processor,
            "branches/2/elements/1/fans/speed_rpm": fans,
            "pumps/0/speed_rpm": pump,
        },
    )
    state = solved(document)
    flows = {branch.branch: branch.flow_l_per_min for branch in state.branches}

    heat = state.heat
    assert abs(heat.residual_w) <= 1e-4 * (card + processor)
    given_off = sum(radiator.heat_w for radiator in state.radiators)
    pump_w = document["pumps"][0]["electrical_power_w"]
    assert 0.95 * card + processor <= given_off * (1.0 + 1e-4)
    assert given_off <= (card + processor + 2.0 * pump_w) * (1.0 + 1e-4)
    # The junction stands warmer than the pump: its litres are a little larger.
    both = flows["card side"] + flows["processor side"]
    assert both == pytest.approx(flows["way back"], rel=0.01)


@FEW
@given(speed=st.floats(600.0, 1200.0), factor=st.floats(1.05, 1.6))
def test_more_air_area_or_flow_never_warms(speed: float, factor: float) -> None:
    """Faster fans, a wider face or a faster pump leave the coolant no warmer.

    The pump's own heat is left out: it grows with the cube of its speed, and in this machine more
    than undoes what the flow gains. Tests of the physics hold the other exceptions: one faster
    fan of several, a deeper core behind a weak fan, air that comes from a warmer case.
    """
    slow = changed(machine(), {f"{FANS}/speed_rpm": speed, "pumps/0/heat_to_coolant_fraction": 0.0})
    before = solved(slow).coolant_hottest_c
    face = f"{RADIATOR}/radiator/face_width_mm"

    for path, value in (
        (f"{FANS}/speed_rpm", speed * factor),
        (face, 420.0 * factor),
        ("pumps/0/speed_rpm", 2900.0 * factor),
    ):
        assert solved(changed(slow, {path: value})).coolant_hottest_c <= before + SETTLED


@FEW
@given(speed=st.floats(0.3, 3.0), flow=st.floats(0.3, 3.0))
def test_speeds_are_ratios_and_tubes_add_up(speed: float, flow: float) -> None:
    """A curve at another speed is the same pump and the same fan; two halves are one tube."""
    plain = solved(machine())
    document = changed(
        machine(),
        {
            f"{FANS}/speed_rpm": 900.0 * speed,
            f"{FANS}/fan/curve_speed_rpm": 1500.0 * speed,
            "pumps/0/speed_rpm": 2900.0 * min(flow, 2.0),
            "pumps/0/curve_speed_rpm": 4800.0 * min(flow, 2.0),
        },
    )
    elements = document["branches"][0]["elements"]
    tube = elements[0]
    part = tube["length_mm"] * flow / 4.0
    halves = [
        {**tube, "name": f"part {n}", "length_mm": length}
        for n, length in enumerate((part, tube["length_mm"] - part))
    ]
    document["branches"][0]["elements"] = halves + elements[1:]
    state = solved(document)

    assert state.flow_l_per_min == pytest.approx(plain.flow_l_per_min, rel=1e-5)
    assert state.coolant_hottest_c == pytest.approx(plain.coolant_hottest_c, abs=SETTLED)


@pytest.mark.parametrize("of", ["fan_speeds", "pump_speeds"])
@settings(FEW, max_examples=4)
@given(factor=st.floats(0.7, 1.4))
def test_the_limit_met_at_a_setting_gives_the_setting_back(of: str, factor: float) -> None:
    """Take what a setting gives as the limit: solve-for finds that setting again.

    Twice the tolerance is that of the search and that of the two solutions.
    """
    path = {"fan_speeds": f"{FANS}/speed_rpm", "pump_speeds": "pumps/0/speed_rpm"}[of]
    stated = {"fan_speeds": 900.0, "pump_speeds": 2900.0}[of]
    state = solved(changed(machine(), {path: stated * factor}))
    limits = {
        "fan_speeds": {"coolant_limit_c": state.coolant_hottest_c, "required_flow_l_per_min": 0.5},
        "pump_speeds": {"required_flow_l_per_min": state.flow_l_per_min, "coolant_limit_c": 80},
    }[of]
    body = {
        "machine": machine(**limits),
        "unknown": {"kind": "factor", "of": of, "lowest": 0.4, "highest": 1.65},
        "seek": "least",
    }
    found = solve_for.answer(msgspec.convert(body, SolveForQuestion)).state

    assert found is not None
    assert found.binding is not None
    assert math.isclose(found.value, factor, abs_tol=2.0 * found.tolerance + 1e-3)
