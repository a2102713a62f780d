"""`steady-state`: the machine as a whole, by what must happen when something is changed."""

from typing import Any

import pytest

from loopmargin_service.questions.edition import EDITION
from loopmargin_wire.part import FreeArea
from loopmargin_wire.steady_state import MachineState
from tests.unit.questions.asked import (
    Changes,
    ask_area,
    ask_machine,
    changed,
    codes,
    example,
    machine_state,
    margin_of,
)

ELEMENTS = "branches/0/elements"
FANNED = example("steady-state")["branches"][0]["elements"][6]
CARD, PROCESSOR, RADIATOR = (f"{ELEMENTS}/{place}" for place in (2, 3, 6))
FAN_SPEED = f"{RADIATOR}/fans/speed_rpm"
REAR_FANS = {
    "name": "rear fans",
    "fans": FANNED["fans"],
    "area_cm2": 200,
    "air_path": "exhaust",
}
# The radiator stands in the room, and fans of its own keep the case cool.
OUTSIDE = {f"{RADIATOR}/air_path": "outside", "case/fans": [REAR_FANS]}


def hottest(changes: Changes | None = None) -> float:
    """Give the hottest coolant of the example with some changes. [degC]"""
    return machine_state(changes).coolant_hottest_c


def arranged(order: str) -> dict[str, Any]:
    """Put card, processor and radiators of the example in another order, outside the case."""
    elements = example("steady-state")["branches"][0]["elements"]
    parts: dict[str, Any] = {
        "c": elements[2],
        "p": elements[3],
        "r": {**elements[6], "air_path": "outside"},
        "t": elements[0],
    }
    return {ELEMENTS: [parts[letter] for letter in order], "case/fans": [REAR_FANS]}


def test_example_is_answered_and_echoed() -> None:
    """The published example works, and names every law once."""
    actual = ask_machine()

    assert (actual.outcome.status, actual.edition) == ("solved", EDITION)
    assert actual.question.supply_air == "room"
    assert len(set(actual.basis)) == len(actual.basis)
    assert len(set(actual.cautions)) == len(actual.cautions)
    assert {"air_flow_uncertain", "tube_heat_loss_neglected"} <= set(codes(actual))


def test_pressure_drops_add_up_to_the_pump_head() -> None:
    """Around the loop, at the coolant's own temperature in every element."""
    state = machine_state()
    taken = sum(element.pressure_drop_kpa for element in state.elements)
    (pump,), (branch,) = state.pumps, state.branches

    assert taken == pytest.approx(branch.pressure_drop_kpa, rel=1e-6)
    work = pump.hydraulic_power_w / (pump.flow_l_per_min / 60_000.0) / 1e3
    assert taken == pytest.approx(work, rel=1e-6)


@pytest.mark.parametrize("air_path", ["outside", "intake"])
def test_radiator_alone_agrees_with_the_radiator_of_the_machine(air_path: str) -> None:
    """With the machine's coolant and air flow `radiator-area` finds the same conductance."""
    machine = machine_state({**OUTSIDE, f"{RADIATOR}/air_path": air_path})
    (point,) = machine.radiators
    alone = ask_area(
        {
            "heat_w": point.heat_w,
            "target/coolant_c": point.coolant_in_c,
            "flow_l_per_min": machine.flow_l_per_min,
            "air": {"kind": "air_flow", "air_flow_m3_per_h": point.air_flow_m3_per_h},
        }
    ).state

    assert alone is not None
    assert alone.conductance_available_w_per_k == pytest.approx(point.conductance_w_per_k, rel=2e-4)
    assert alone.coolant_out_c == pytest.approx(point.coolant_out_c, abs=2e-2)
    assert alone.air.air_out_c == pytest.approx(point.air_out_c, abs=2e-2)
    assert alone.air.pressure_drop_pa == pytest.approx(point.air_pressure_drop_pa, rel=1e-9)


def test_fans_of_the_machine_agree_with_fans_alone() -> None:
    """A radiator that stands in the room has the air flow that `radiator-area` finds."""
    (point,) = machine_state(OUTSIDE).radiators
    alone = ask_area().state

    assert alone is not None
    assert alone.air.air_flow_m3_per_h == pytest.approx(point.air_flow_m3_per_h, rel=1e-6)


@pytest.mark.parametrize("changes", [{}, {f"{RADIATOR}/air_path": "exhaust"}, OUTSIDE])
def test_faster_fans_never_warm_the_coolant(changes: Changes) -> None:
    """From 750 to 1600 rpm the hottest coolant only falls."""
    warm = [hottest({**changes, FAN_SPEED: speed}) for speed in (750, 900, 1200, 1600)]
    assert warm == sorted(set(warm), reverse=True)


@pytest.mark.parametrize("changes", [{}, OUTSIDE, {FAN_SPEED: 1600}])
def test_warmer_room_warms_the_coolant_by_as_much(changes: Changes) -> None:
    """A kelvin in the room is a kelvin in the coolant and a little more.

    Warm air is thinner (as 1/T) and stickier (as T^0.7), so the rise itself grows, by less
    than 2/T of itself for each kelvin.
    """
    state = machine_state(changes)
    warmer = hottest({**changes, "room/air_c": 28}) - state.coolant_hottest_c
    assert 1.0 < warmer < 1.0 + 2.0 * state.rise_over_room_k / 300.15


def test_altitude_makes_it_warmer() -> None:
    """Thin air carries less, at the same speed of the fans."""
    warm = [hottest({"room/altitude_m": height}) for height in (0, 1000, 2000, 4000)]
    assert warm == sorted(set(warm))


@pytest.mark.parametrize(
    ("changes", "cooler"),
    [
        ({f"{CARD}/power_w": 200}, True),
        ({f"{CARD}/captured_fraction": 0.8}, True),
        ({f"{RADIATOR}/grille": None}, True),
        ({f"{RADIATOR}/radiator/face_width_mm": 500}, True),
        ({f"{RADIATOR}/fans/count": 2}, False),
        ({"case/openings/0/area_cm2": 40}, False),
        ({f"{RADIATOR}/air_path": "exhaust"}, False),
    ],
)
def test_what_cools_and_what_warms(changes: Changes, cooler: bool) -> None:  # noqa: FBT001 - a column
    """Less heat, more face and an open grille cool; fewer fans and a tight case warm."""
    assert cooler == (hottest(changes) < hottest())


def test_more_coolant_flow_evens_out_the_loop() -> None:
    """A faster pump brings the warmest and the coolest coolant together."""

    def spread(changes: Changes | None = None) -> float:
        temperatures = [row.coolant_out_c for row in machine_state(changes).elements]
        return max(temperatures) - min(temperatures)

    assert spread({"pumps/0/speed_rpm": 4000}) < spread() < spread({"pumps/0/speed_rpm": 2400})


def test_three_equal_branches_share_equally() -> None:
    """Three radiators in parallel carry a third of flow and heat each."""
    radiator = {**FANNED, "air_path": "outside"}
    side = {"from_node": "middle", "to_node": "suction", "elements": [radiator]}
    state = machine_state(
        {
            **arranged("tcp"),
            "branches/0/to_node": "middle",
            **{f"branches/{n}": {**side, "name": f"side {n}"} for n in (1, 2, 3)},
        }
    )

    third = [state.flow_l_per_min / 3.0] * 3
    assert [row.flow_l_per_min for row in state.branches[1:]] == pytest.approx(third, rel=1e-6)
    heats = [point.heat_w for point in state.radiators]
    assert heats == pytest.approx([state.heat.radiators_to_air_w / 3.0] * 3, rel=1e-6)


def test_two_radiators_in_series() -> None:
    """The second takes what the first leaves: cooler coolant, less heat, all of it together."""
    state = machine_state(arranged("tcprr"))
    first, second = state.radiators

    assert second.coolant_in_c == first.coolant_out_c
    assert second.heat_w < first.heat_w
    ratio = second.heat_w / first.heat_w
    cooled = (second.coolant_in_c - 27.0) / (first.coolant_in_c - 27.0)
    assert ratio == pytest.approx(cooled, rel=1e-3)
    assert state.coolant_hottest_c < hottest(arranged("tcpr"))


def test_radiator_before_or_after_the_blocks() -> None:
    """The order moves the coolest place, not the hottest coolant; parts after it run cooler."""
    after, before = machine_state(arranged("tcpr")), machine_state(arranged("rtcp"))
    between = machine_state(arranged("tcrp"))

    assert before.coolant_hottest_c == pytest.approx(after.coolant_hottest_c, abs=0.1)
    card_after, card_before = after.components[0], before.components[0]
    assert card_before.coolant_in_c == pytest.approx(card_after.coolant_in_c, abs=0.1)
    assert between.components[1].coolant_in_c < after.components[1].coolant_in_c


def mirrored(state: MachineState) -> list[tuple[str, float, float]]:
    """List the temperatures that every element sees."""
    return sorted((row.element, row.coolant_in_c, row.coolant_out_c) for row in state.elements)


def test_branch_written_backwards_is_the_same_machine() -> None:
    """Flows change their sign and nothing else changes."""
    document = example("steady-state")
    elements = document["branches"][0]["elements"][::-1]
    ends = {"from_node": "suction", "to_node": "delivery"}
    back = {"branches/0": {**document["branches"][0], **ends, "elements": elements}}
    one, other = machine_state(), machine_state(back)

    assert other.branches[0].flow_l_per_min == pytest.approx(-one.flow_l_per_min, rel=1e-8)
    assert other.coolant_hottest_c == pytest.approx(one.coolant_hottest_c, abs=1e-6)
    assert [row[0] for row in mirrored(one)] == [row[0] for row in mirrored(other)]
    for mine, theirs in zip(mirrored(one), mirrored(other), strict=True):
        assert mine[1:] == pytest.approx(theirs[1:], abs=1e-6)


def test_parts_in_the_reversed_order_see_warmer_coolant() -> None:
    """The processor behind the card is entered by what the card has warmed."""
    card_first, processor_first = machine_state(), machine_state(arranged("tpcr"))
    card, processor = card_first.components

    assert processor.coolant_in_c > card.coolant_in_c
    assert processor_first.components[0].coolant_in_c < processor_first.components[1].coolant_in_c


def test_case_fans_take_the_heat_of_the_case() -> None:
    """Exhaust fans behind a radiator that blows into the case draw more air through both."""
    alone, with_fans = machine_state(), machine_state({"case/fans": [REAR_FANS]})

    assert with_fans.case.air_c < alone.case.air_c
    assert with_fans.coolant_hottest_c < alone.coolant_hottest_c
    fans, vents = with_fans.case.paths
    assert fans.air_flow_m3_per_h < 0.0 < vents.air_flow_m3_per_h
    assert with_fans.case.pressure_pa < 0.0


def test_uncertain_air_is_what_the_coolant_margin_hangs_on() -> None:
    """With fans that matter less, the coolant is surer than with the fans of the example."""
    usual = margin_of(ask_machine(OUTSIDE), "hottest coolant")
    ample = margin_of(ask_machine({**OUTSIDE, FAN_SPEED: 1600}), "hottest coolant")

    assert (ample.standard_uncertainty or 9.9) < (usual.standard_uncertainty or 0.0)
    assert usual.chance is not None


def test_grille_of_the_example_is_open() -> None:
    """The example's grille is one that the tests above may take away."""
    grille = ask_machine().question.branches[0].elements[6]
    assert getattr(grille, "grille", None) == FreeArea(free_area_fraction=0.7)
    assert changed({"a": [1]}, {"a/0": 2}) == {"a": [2]}
