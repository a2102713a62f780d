"""Heat balance of random plants: the first law, element by element and as a whole."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from loopmargin_service.physics.heat_balance import (
    HeatInput,
    HeatLayout,
    Temperatures,
    settle,
)
from tests.unit.physics.bench_heat import ROOM, Branch, Drawn, balance, plants, rises

ROUGH = settings(deadline=None, max_examples=30)


def shed(layout: HeatLayout, given_heat: HeatInput, found: Temperatures) -> list[float]:
    """Give the heat of each radiator from its own inlet temperatures, written out."""
    heats = [0.0] * len(layout.radiator_path)
    for branch, elements in enumerate(layout.elements):
        backwards = given_heat.branch_capacity[branch, 0] < 0.0
        for place, element in enumerate(elements):
            if not element.is_block:
                path = layout.radiator_path[element.index]
                air = found.case[0] if given_heat.from_case[path, 0] else given_heat.room[0]
                inlet = found.profiles[branch][place + backwards, 0]
                heats[element.index] = float(
                    given_heat.conductance[element.index, 0] * (inlet - air)
                )
    return heats


@ROUGH
@given(plants())
def test_a_branch_against_its_flow_is_the_mirrored_branch(plant: Drawn) -> None:
    """Turned round, with flow and order turned as well, every profile is the same, mirrored."""
    turned = [
        Branch(branch.head, branch.tail, -branch.capacity, branch.elements[::-1])
        for branch in plant.branches
    ]

    expected, case = rises(plant.branches, plant.pump, plant.case)
    found, other_case = rises(turned, plant.pump, plant.case)

    # Numbers of blocks and radiators change with the order, so only temperatures can agree.
    for mine, mirrored in zip(expected, found, strict=True):
        assert mirrored[::-1] == pytest.approx(mine, rel=1e-8, abs=1e-7)
    assert other_case == pytest.approx(case, rel=1e-8, abs=1e-7)


@ROUGH
@given(plants())
def test_all_heat_leaves_by_the_radiators(plant: Drawn) -> None:
    """Heat of blocks and pump equals that of all radiators, to 1e-9 of it and a microwatt."""
    layout, given_heat = balance(plant.branches, [plant.pump], plant.case)

    found = settle(layout, given_heat)

    brought = float(given_heat.block_heat.sum() + given_heat.pump_heat.sum())
    heats = shed(layout, given_heat, found)
    scale = sum(map(abs, heats)) + brought
    assert sum(heats) == pytest.approx(brought, abs=1e-9 * scale + 1e-6)


@ROUGH
@given(plants())
def test_the_case_balances(plant: Drawn) -> None:
    """What the case air takes up is its own heat and that of the radiators that feed it."""
    layout, given_heat = balance(plant.branches, [plant.pump], plant.case)

    found = settle(layout, given_heat)

    heats = shed(layout, given_heat, found)
    feeding = [
        heat for heat, air in zip(heats, given_heat.air_into_case[:, 0], strict=False) if air > 0.0
    ]
    taken = float(given_heat.air_into_case.sum() * (found.case[0] - ROOM))
    assert taken == pytest.approx(sum(feeding) + plant.case.heat, rel=1e-8, abs=1e-5)


@ROUGH
@given(plants())
def test_every_element_and_node_follows_its_law(plant: Drawn) -> None:
    """Blocks add heat over capacity, radiators pull towards their air, nodes mix by capacity."""
    layout, given_heat = balance(plant.branches, [plant.pump], plant.case)
    found = settle(layout, given_heat)
    heats = shed(layout, given_heat, found)
    entering: dict[int, list[tuple[float, float]]] = {node: [] for node in range(layout.node_count)}
    pump_rise = plant.pump.heat / plant.pump.capacity
    entering[1].append((plant.pump.capacity, float(found.nodes[0, 0]) + pump_rise))

    for number, branch in enumerate(plant.branches):
        backwards = branch.capacity < 0.0
        along, ends = found.profiles[number][:, 0], branch[1::-1] if backwards else branch[:2]
        elements = layout.elements[number]
        along, elements = (along[::-1], elements[::-1]) if backwards else (along, elements)
        assert along[0] == pytest.approx(float(found.nodes[ends[0], 0]), rel=1e-12)
        for element, rise in zip(elements, np.diff(along), strict=True):
            taken = given_heat.block_heat[:, 0] if element.is_block else -np.array(heats)
            assert rise == pytest.approx(taken[element.index] / abs(branch.capacity), abs=1e-9)
        entering[ends[1]].append((abs(branch.capacity), float(along[-1])))

    for node, streams in entering.items():
        total = sum(capacity for capacity, _ in streams)
        mixed = sum(capacity * value for capacity, value in streams) / total
        assert float(found.nodes[node, 0]) == pytest.approx(mixed, abs=1e-7)


@ROUGH
@given(plants(), st.floats(0.0, 5.0))
def test_rises_are_in_proportion_to_heat(plant: Drawn, factor: float) -> None:
    """With all heat times k every rise over the room is times k."""
    layout, one = balance(plant.branches, [plant.pump], plant.case)
    more = one._replace(
        block_heat=factor * one.block_heat,
        pump_heat=factor * one.pump_heat,
        case_heat=factor * one.case_heat,
    )

    first, second = settle(layout, one), settle(layout, more)

    scale = 1.0 + float(np.abs(first.nodes - ROOM).max()) * factor
    np.testing.assert_allclose(
        second.nodes - ROOM, factor * (first.nodes - ROOM), atol=1e-8 * scale
    )
    assert second.case[0] - ROOM == pytest.approx(
        factor * (first.case[0] - ROOM), rel=1e-8, abs=1e-8 * scale
    )


@ROUGH
@given(plants(), st.floats(260.0, 320.0))
def test_a_warmer_room_warms_everything_alike(plant: Drawn, room: float) -> None:
    """At fixed flows and conductances every temperature moves with the room."""
    layout, here = balance(plant.branches, [plant.pump], plant.case)

    first, second = settle(layout, here), settle(layout, here._replace(room=np.array([room])))

    np.testing.assert_allclose(second.nodes - room, first.nodes - ROOM, rtol=1e-8, atol=1e-7)
    assert second.case[0] - room == pytest.approx(first.case[0] - ROOM, rel=1e-8, abs=1e-7)


@ROUGH
@given(plants())
def test_nothing_is_colder_than_the_room(plant: Drawn) -> None:
    """Heat only comes in warm: neither coolant nor case falls below the room."""
    profiles, case = rises(plant.branches, plant.pump, plant.case)

    assert min(map(min, profiles)) >= -1e-7
    assert case >= -1e-7


@ROUGH
@given(plants())
def test_a_batch_equals_single_cases(plant: Drawn) -> None:
    """Two settings of one plant in a batch are the settings one by one."""
    layout, one = balance(plant.branches, [plant.pump], plant.case)
    other = one._replace(block_heat=0.5 * one.block_heat, conductance=0.9 * one.conductance)
    both = HeatInput(*(np.concatenate(pair, axis=-1) for pair in zip(one, other, strict=True)))

    together = settle(layout, both)

    for case, alone in enumerate((settle(layout, one), settle(layout, other))):
        np.testing.assert_allclose(together.nodes[:, case], alone.nodes[:, 0], rtol=1e-11)
        for many, single in zip(together.profiles, alone.profiles, strict=True):
            np.testing.assert_allclose(many[:, case], single[:, 0], rtol=1e-11)
