"""Heat layouts on the bench: blocks and radiators in branches, air through the case or past it."""

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from hypothesis import strategies as st

from loopmargin_service.physics.heat_balance import HeatElement, HeatInput, HeatLayout, settle
from loopmargin_service.physics.network import Array

ROOM = 298.15


class Block(NamedTuple):
    """A block that gives its heat to the coolant. [W]"""

    heat: float


class Radiator(NamedTuple):
    """A radiator in an air path; `into_case` is the capacity rate it feeds the case with. [W/K]"""

    conductance: float
    into_case: float = 0.0
    from_case: bool = False


class Branch(NamedTuple):
    """What stands in a row between two nodes, and the signed capacity rate through it. [W/K]"""

    tail: int
    head: int
    capacity: float
    elements: Sequence[Block | Radiator] = ()


class Pump(NamedTuple):
    """A pump between two nodes, the capacity rate through it and its heat. [W/K and W]"""

    capacity: float
    heat: float = 0.0
    tail: int = 0
    head: int = 1


class Case(NamedTuple):
    """Heat released to the case air, and air that enters by other ways than radiators."""

    heat: float = 0.0
    air: float = 50.0


def balance(
    branches: Sequence[Branch],
    pumps: Sequence[Pump],
    case: Case = Case(),  # noqa: B008 - immutable
) -> tuple[HeatLayout, HeatInput]:
    """Lay out one case, with an air path for each radiator and one more into the case."""
    flat = [element for branch in branches for element in branch.elements]
    blocks = [element for element in flat if isinstance(element, Block)]
    radiators = [element for element in flat if isinstance(element, Radiator)]
    ends = [link[:2] for link in branches] + [(pump.tail, pump.head) for pump in pumps]
    layout = HeatLayout(
        node_count=1 + max(max(pair) for pair in ends),
        branch_tail=tuple(branch.tail for branch in branches),
        branch_head=tuple(branch.head for branch in branches),
        pump_tail=tuple(pump.tail for pump in pumps),
        pump_head=tuple(pump.head for pump in pumps),
        elements=numbered(branches),
        radiator_path=tuple(range(len(radiators))),
    )
    return layout, HeatInput(
        branch_capacity=column(branch.capacity for branch in branches),
        pump_capacity=column(pump.capacity for pump in pumps),
        block_heat=column(block.heat for block in blocks),
        pump_heat=column(pump.heat for pump in pumps),
        conductance=column(radiator.conductance for radiator in radiators),
        air_into_case=column([*(radiator.into_case for radiator in radiators), case.air]),
        from_case=column([*(float(radiator.from_case) for radiator in radiators), 0.0]),
        room=np.array([ROOM]),
        case_heat=np.array([case.heat]),
    )


def rises(
    branches: Sequence[Branch],
    pump: Pump,
    case: Case = Case(),  # noqa: B008 - immutable
) -> tuple[list[list[float]], float]:
    """Give the rises over the room along each branch and of the case. [K]"""
    found = settle(*balance(branches, [pump], case))
    profiles = [[float(value) - ROOM for value in row[:, 0]] for row in found.profiles]
    return profiles, float(found.case[0]) - ROOM


def numbered(branches: Sequence[Branch]) -> tuple[tuple[HeatElement, ...], ...]:
    """Give blocks and radiators their numbers along the branches, each kind from zero."""
    counts = {True: 0, False: 0}
    rows = []
    for branch in branches:
        row = []
        for element in branch.elements:
            is_block = isinstance(element, Block)
            row.append(HeatElement(is_block=is_block, index=counts[is_block]))
            counts[is_block] += 1
        rows.append(tuple(row))
    return tuple(rows)


def column(values: object) -> Array:
    """Give one case of each value, with a batch axis of one."""
    return np.array(list(values), dtype=np.float64).reshape(-1, 1)  # type: ignore[call-overload]


class Drawn(NamedTuple):
    """A random plant: branches, one pump, the case."""

    branches: list[Branch]
    pump: Pump
    case: Case


@st.composite
def plants(draw: st.DrawFn) -> Drawn:
    """Draw a circuit with a pump and chords between its nodes, all flows conserved.

    Any branch may be drawn against its flow; one radiator stands outside the case.
    """
    nodes = draw(st.integers(2, 5))
    chord = st.tuples(st.integers(1, nodes - 1), st.integers(0, nodes - 1), st.floats(0.05, 1.0))
    chords = draw(st.lists(chord.filter(lambda ends: ends[0] != ends[1]), max_size=4))
    ring = np.full(nodes, 1.0 + sum(share for *_, share in chords))
    for tail, head, share in chords:
        # Each chord carries its share round the circuit, backwards where it goes forwards.
        for step in range((tail - head) % nodes):
            ring[(head + step) % nodes] += share
    scale = draw(st.floats(20.0, 200.0))
    links = [(node, (node + 1) % nodes, ring[node]) for node in range(1, nodes)] + chords
    first = Radiator(draw(st.floats(5.0, 15.0)))
    branches = [
        _branch(draw, (tail, head, scale * share), [first] if number == 0 else [])
        for number, (tail, head, share) in enumerate(links)
    ]
    pump = Pump(scale * ring[0], draw(st.floats(0.0, 30.0)))
    return Drawn(branches, pump, Case(draw(st.floats(0.0, 200.0)), draw(st.floats(5.0, 60.0))))


def _branch(draw: st.DrawFn, link: tuple[int, int, float], fixed: list[Radiator]) -> Branch:
    """Put blocks and radiators into a branch, each radiator below the capacity rate."""
    tail, head, capacity = link
    conductance = st.floats(0.01, 0.9).map(lambda share: share * capacity)
    # No radiator sheds more than its air can carry, or the case would outdo the coolant.
    feeding = st.floats(1.05, 5.0)
    element = st.one_of(
        st.floats(0.0, 400.0).map(Block),
        conductance.map(Radiator),
        st.builds(lambda value, more: Radiator(value, more * value), conductance, feeding),
        conductance.map(lambda value: Radiator(value, from_case=True)),
    )
    elements = fixed + draw(st.lists(element, max_size=3))
    if draw(st.booleans()):
        return Branch(head, tail, -capacity, elements[::-1])
    return Branch(tail, head, capacity, elements)
