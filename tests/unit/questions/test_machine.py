"""The whole machine: how it is built, what it reports and how it is judged."""

import itertools

import msgspec
import pytest

from loopmargin_service.physics.air_path import CASE, ROOM
from loopmargin_service.questions import machine_build, parts, pipework, supply_headroom
from loopmargin_service.questions.conversion import L_PER_MIN
from loopmargin_service.questions.machine_build import Built, case_heat, fan_power
from loopmargin_service.questions.refusals import Refusal
from loopmargin_wire.steady_state import SteadyStateQuestion
from loopmargin_wire.supply_headroom import SupplyHeadroomQuestion
from tests.unit.questions.asked import (
    Changes,
    ask_machine,
    example,
    fault_of,
    machine_state,
    margin_of,
)

ELEMENTS = "branches/0/elements"
CARD, PROCESSOR, RADIATOR = (f"{ELEMENTS}/{place}" for place in (2, 3, 6))
CASE_FANS = {
    "name": "rear fan",
    "fans": {**example("steady-state")["branches"][0]["elements"][6]["fans"], "count": 1},
    "area_cm2": 100,
    "air_path": "exhaust",
}


def question(changes: Changes | None = None) -> SteadyStateQuestion:
    """Decode the example with some changes."""
    return msgspec.convert(example("steady-state", changes), SteadyStateQuestion)


def build(changes: Changes | None = None) -> Built:
    """Lay out the example with some changes."""
    asked = question(changes)
    plumbing = pipework.build(asked.branches, asked.pumps, asked.pumps[0].from_node)
    return machine_build.build(asked, plumbing)


def test_fan_power_goes_with_the_cube_of_speed() -> None:
    """Three fans of 1.6 W at 900 of 1500 rpm take 3 x 1.6 x 0.6^3 W."""
    (fans,) = [item for item in build().fans if item is not None]
    assert fan_power(fans) == pytest.approx(3 * 1.6 * 0.216)


def test_heat_of_the_case() -> None:
    """Board and drives, what the blocks miss, and the fans that blow through the case."""
    expected = 62.0 + 220.0 * 0.05 + 3 * 1.6 * 0.216
    assert expected == pytest.approx(case_heat(question(), build()))
    outside = {f"{RADIATOR}/air_path": "outside"}
    assert case_heat(question(outside), build(outside)) == pytest.approx(62.0 + 11.0)


@pytest.mark.parametrize(
    ("air_path", "ends"),
    [("intake", (ROOM, CASE)), ("exhaust", (CASE, ROOM)), ("outside", (ROOM, ROOM))],
)
def test_ways_of_the_air(air_path: str, ends: tuple[int, int]) -> None:
    """The radiator first, then case fans, then openings, each between room and case."""
    built = build({f"{RADIATOR}/air_path": air_path, "case/fans": [CASE_FANS]})

    expected = [ends, (CASE, ROOM), (ROOM, CASE)]
    assert expected == [(path.tail, path.head) for path in built.machine.paths]
    assert [path.fan_count for path in built.machine.paths] == [3, 1, 0]
    assert pytest.approx([p.area for p in built.machine.paths]) == [0.42 * 0.14, 0.01, 0.022]


def test_machine_without_a_radiator() -> None:
    """Heat that cannot leave has no equilibrium; the refusal says what to add."""
    elements = example("steady-state")["branches"][0]["elements"][:5]

    with pytest.raises(Refusal) as caught:
        ask_machine({ELEMENTS: elements})

    where, sentence = fault_of(caught.value)
    assert where == "branches"
    assert "no radiator" in sentence
    assert "add one" in sentence


@pytest.mark.parametrize(
    ("changes", "where"),
    [
        (
            {f"{RADIATOR}/fans/fan/curve/1/pressure_pa": 18},
            f"{RADIATOR}/fans/fan/curve/1/pressure_pa",
        ),
        ({f"{RADIATOR}/radiator/tube_wall_mm": 0.6, f"{RADIATOR}/radiator/tube_thickness_mm": 1.3},
            f"{RADIATOR}/radiator/tube_wall_mm",
        ),
        ({"case/fans": [CASE_FANS], "case/fans/0/fans/fan/curve/2/pressure_pa": 14},
            "case/fans/0/fans/fan/curve/2/pressure_pa",
        ),
        ({"pumps/0/curve/3/flow_l_per_min": 8}, "pumps/0/curve/3/flow_l_per_min"),
        ({"room/air_c": -20}, "room/air_c"),
        ({"reservoir/node": "attic"}, "reservoir/node"),
        ({"branches/0/to_node": "attic"}, "branches/0/to_node"),
    ],
)  # fmt: skip
def test_contradictions_are_refused_where_they_stand(changes: Changes, where: str) -> None:
    """The first fault leads to the field."""
    with pytest.raises(Refusal) as caught:
        ask_machine(changes)
    assert where == "/".join(str(step) for step in caught.value.faults[0].path)


def test_part_temperatures() -> None:
    """A part is warmer than the coolant entering its block by heat times resistance."""
    state = machine_state()
    card, processor = state.components

    flow = state.flow_l_per_min
    assert card.resistance_k_per_w == pytest.approx(0.03 + 0.02 * flow**-0.6 + 0.015, rel=1e-3)
    for part, heat in ((card, 209.0), (processor, 120.0)):
        expected = part.coolant_in_c + heat * part.resistance_k_per_w
        assert expected == pytest.approx(part.component_c, rel=1e-12)
        assert part.heat_to_coolant_w == pytest.approx(heat)


def test_coolant_warms_by_heat_over_capacity() -> None:
    """Through the card's block the coolant warms by 209 W over its capacity rate."""
    state = machine_state()
    block = state.elements[2]

    mean = parts.liquid(parts.Mix("propylene_glycol", 0.2), state.coolant_mean_c)
    suction = parts.liquid(parts.Mix("propylene_glycol", 0.2), state.nodes[0].coolant_c)
    capacity = state.flow_l_per_min * L_PER_MIN * suction.density[0] * mean.heat_capacity[0]
    assert 209.0 / float(capacity) == pytest.approx(block.coolant_out_c - block.coolant_in_c)
    tube = state.elements[0]
    assert tube.coolant_in_c == tube.coolant_out_c


def test_profile_runs_through_the_elements() -> None:
    """What leaves an element enters the next one, and the last one ends at the reservoir."""
    state = machine_state()
    for before, after in itertools.pairwise(state.elements):
        assert before.coolant_out_c == after.coolant_in_c
    nodes = {node.node: node.coolant_c for node in state.nodes}
    assert state.elements[-1].coolant_out_c == pytest.approx(nodes["suction"], abs=1e-6)
    assert state.elements[0].coolant_in_c == pytest.approx(nodes["delivery"], abs=1e-6)


def test_balance_of_heat() -> None:
    """Parts and pump give what the radiators take; the rest of the power warms the case air."""
    state = machine_state()
    heat = state.heat

    assert heat.parts_to_coolant_w == pytest.approx(329.0)
    assert abs(heat.residual_w) < 1e-6 * heat.radiators_to_air_w
    assert state.solve.residual < 1e-6
    assert heat.radiators_to_air_w == sum(point.heat_w for point in state.radiators)
    given = heat.parts_to_coolant_w + heat.pumps_to_coolant_w + heat.to_case_air_w
    assert given == pytest.approx(state.dc_power_w, rel=1e-9)
    assert heat.to_room_w == state.wall_power_w


def test_case_air_takes_radiator_and_board() -> None:
    """All heat that is blown into the case leaves with the air through the vents."""
    state = machine_state()
    (vents,) = state.case.paths
    (radiator,) = state.radiators

    assert vents.air_flow_m3_per_h < 0.0
    density = 97191.0 / (287.05 * 300.15)
    mass = radiator.air_flow_m3_per_h / 3600.0 * density
    heat = radiator.heat_w + state.heat.to_case_air_w
    assert 27.0 + heat / (mass * 1006.5) == pytest.approx(state.case.air_c, rel=2e-3)


def test_supply_sees_what_the_machine_draws() -> None:
    """The margins of the supply are those of `supply-headroom` for the same loads."""
    asked = example("steady-state")
    pump, fans = 16.0 * (2900 / 4800) ** 3, 3 * 1.6 * 0.216
    alone = supply_headroom.answer(
        msgspec.convert(
            {
                "processor": {"sustained_w": 120, "peak_over_sustained": 1.6},
                "cards": [{"name": "card", "sustained_w": 220}],
                "rest_w": 62 + pump + fans,
                "supply": asked["supply"],
                "inlet_c": 27,
                "altitude_m": 350,
            },
            SupplyHeadroomQuestion,
        )
    )
    together = ask_machine()

    powers = [(row.criterion, row.demand, row.capacity) for row in together.margins[-7:]]
    expected = [(row.criterion, row.demand, row.capacity) for row in alone.margins]
    assert [row[0] for row in expected] == [row[0] for row in powers]
    assert [row[1:] for row in expected] == [pytest.approx(row[1:]) for row in powers]


def test_supply_in_the_case_breathes_case_air() -> None:
    """The derated rating follows the inlet, and case air is warmer."""
    hot = {f"{RADIATOR}/air_path": "intake", "rest_w": 120}
    room, inside = ask_machine(hot), ask_machine({**hot, "supply_air": "case"})

    criterion = "rating with margin"
    assert margin_of(inside, criterion).capacity < margin_of(room, criterion).capacity


def test_margins_come_in_order() -> None:
    """Coolant, radiators, parts, flow, head, air and suction, then the supply."""
    criteria = [row.criterion for row in ask_machine().margins]
    assert criteria[:8] == [
        "hottest coolant",
        "conductance from coolant to room",
        "temperature of card",
        "temperature of processor",
        "loop flow",
        "head at the required flow",
        "velocity that carries air, tube to the reservoir",
        "suction head, booth pump",
    ]


def test_two_views_of_the_coolant_agree() -> None:
    """Temperature and conductance are one comparison, with one chance."""
    actual = ask_machine()
    warm, carried = actual.margins[:2]

    assert warm.chance == pytest.approx(carried.chance)
    heat = 329.0 + 16.0 * (2900 / 4800) ** 3 * 0.85
    assert (carried.demand, carried.capacity) == pytest.approx(
        (heat / (48.0 - 27.0), heat / (warm.demand - 27.0)), rel=1e-6
    )


def test_limit_below_the_room_has_no_conductance() -> None:
    """A coolant limit below the room air fails, and no conductance could help."""
    actual = ask_machine({"coolant_limit_c": 20})

    criteria = [row.criterion for row in actual.margins]
    assert "conductance from coolant to room" not in criteria
    assert margin_of(actual, "hottest coolant").verdict == "fails"
