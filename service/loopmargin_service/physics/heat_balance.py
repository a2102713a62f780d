"""Temperatures of coolant and case air at given flows: one linear system for each case.

Every branch is an affine map of the temperature that enters it: a block adds its heat
over the capacity rate, a radiator pulls the coolant towards the air that enters it. What
enters a branch comes from the node upstream, whichever way the flow runs; nodes mix. The
case air mixes what flows in with the heat released inside. Left out: heat lost by tubes
and walls (some 3 % of a radiator, on the safe side) and conduction along the tubes.

One heat capacity stands for the whole loop, so that the balance closes exactly.
"""

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from loopmargin_service.physics.rows import Array, row_sum

# Keeps a stagnant branch or an unaired case finite; its temperature is then far outside
# any limit, as it would be.
SMALLEST_CAPACITY = 1e-3
# Ties a node that nothing flows through to the room, too weakly to show in any balance.
STAGNANT_TIE = 1e-9


@dataclass(frozen=True)
class HeatElement:
    """A block or a radiator in a branch, by its number among the blocks or radiators."""

    is_block: bool
    index: int


@dataclass(frozen=True)
class HeatLayout:
    """Where heat enters and leaves: branches and pumps between nodes, radiators in air paths."""

    node_count: int
    branch_tail: tuple[int, ...]
    branch_head: tuple[int, ...]
    pump_tail: tuple[int, ...]
    pump_head: tuple[int, ...]
    elements: tuple[tuple[HeatElement, ...], ...]
    radiator_path: tuple[int, ...]


class HeatInput(NamedTuple):
    """Everything the balance needs, each (…, batch).

    `branch_capacity` and `pump_capacity` are signed capacity rates [W/K]; `block_heat`
    and `pump_heat` are [W]; `conductance` [W/K] is that of each radiator; `air_into_case`
    [W/K] is the capacity rate with which a path feeds the case, `from_case` is one where a
    path draws case air and zero elsewhere; `case_heat` [W] is released to the case air.
    """

    branch_capacity: Array
    pump_capacity: Array
    block_heat: Array
    pump_heat: Array
    conductance: Array
    air_into_case: Array
    from_case: Array
    room: Array
    case_heat: Array


class Temperatures(NamedTuple):
    """Solution, each (…, batch) [K]: nodes, profile along each branch, case air."""

    nodes: Array
    profiles: tuple[Array, ...]
    case: Array


class _Affine(NamedTuple):
    """Temperatures as start * source node + constant + case * case air."""

    start: Array
    constant: Array
    case: Array


def settle(layout: HeatLayout, given: HeatInput) -> Temperatures:
    """
    Solve for all temperatures at given flows and conductances.

    Parameters
    ----------
    layout : HeatLayout
        What is where. [-]
    given : HeatInput
        Flows, heats and conductances. [SI]

    Returns
    -------
    Temperatures
        Nodes, branch profiles from tail to head, case air. [K]

    Notes
    -----
    First law with upwinded mixing; exact for the given conductances. Needs at least one
    radiator with air that reaches the room; without one the system is singular.
    """
    rows = [_branch_profile(layout, given, branch) for branch in range(len(layout.elements))]
    solution = _solved(_balances(layout, given, rows))
    profiles = tuple(
        row.start * _source(layout, given, branch, solution)
        + row.constant
        + row.case * solution[-1]
        for branch, row in enumerate(rows)
    )
    return Temperatures(solution[:-1], profiles, solution[-1])


def _source(layout: HeatLayout, given: HeatInput, branch: int, nodes: Array) -> Array:
    """Give the temperature of the node that feeds a branch in each case."""
    forward = given.branch_capacity[branch] >= 0.0
    tail, head = nodes[layout.branch_tail[branch]], nodes[layout.branch_head[branch]]
    return np.asarray(tail if forward.all() else np.where(forward, tail, head))


def _branch_profile(layout: HeatLayout, given: HeatInput, branch: int) -> _Affine:
    """Follow the coolant through a branch, in the direction that it flows."""
    signed = given.branch_capacity[branch]
    capacity = np.maximum(np.abs(signed), SMALLEST_CAPACITY)
    elements = layout.elements[branch]
    ahead = _follow(layout, given, elements, capacity)
    if (signed >= 0.0).all():
        return ahead
    back = _follow(layout, given, elements[::-1], capacity)
    return _Affine(*(np.where(signed >= 0.0, a, b[::-1]) for a, b in zip(ahead, back, strict=True)))


def _follow(
    layout: HeatLayout, given: HeatInput, elements: tuple[HeatElement, ...], capacity: Array
) -> _Affine:
    """Give the temperatures before, between and after the elements."""
    rows = np.zeros((3, len(elements) + 1, capacity.size))
    rows[0, 0] = 1.0
    for number, element in enumerate(elements):
        here = rows[:, number + 1]
        if element.is_block:
            here[:] = rows[:, number]
            here[1] += given.block_heat[element.index] / capacity
            continue
        pull = given.conductance[element.index] / capacity
        from_case = pull * given.from_case[layout.radiator_path[element.index]]
        here[:] = rows[:, number] * (1.0 - pull)
        here[1] += (pull - from_case) * given.room
        here[2] += from_case
    return _Affine(*rows)


class _Balances(NamedTuple):
    """Capacity * temperature = sum of gains * other temperatures + constant, for each unknown.

    The unknowns are the nodes and, last, the case air; gains are by unknown and other unknown.
    """

    capacity: list[Array]
    gain: dict[tuple[int, int], Array]
    constant: list[Array]

    def add_gain(self, sink: int, source: int, gain: Array) -> None:
        """Add to what a temperature gains by another, or by itself."""
        if sink == source:
            self.capacity[sink] = self.capacity[sink] - gain
            return
        before = self.gain.get((sink, source))
        self.gain[sink, source] = gain if before is None else before + gain

    def add_constant(self, sink: int, constant: Array) -> None:
        """Add heat."""
        self.constant[sink] = self.constant[sink] + constant

    def mix(self, ends: tuple[int, int], capacity: Array, end: _Affine) -> None:
        """Add a stream that leaves one node and ends in another."""
        source, sink = ends
        self.capacity[sink] = self.capacity[sink] + capacity
        self.add_gain(sink, source, capacity * end.start)
        self.add_gain(sink, len(self.capacity) - 1, capacity * end.case)
        self.add_constant(sink, capacity * end.constant)


def _balances(layout: HeatLayout, given: HeatInput, rows: list[_Affine]) -> _Balances:
    """Write the balance of every node and of the case air."""
    size = layout.node_count + 1
    tie = np.full(given.room.size, STAGNANT_TIE)
    found = _Balances([tie] * size, {}, [STAGNANT_TIE * given.room] * size)
    for branch, row in enumerate(rows):
        signed = given.branch_capacity[branch]
        tail, head = layout.branch_tail[branch], layout.branch_head[branch]
        # A way that the coolant goes in no case adds nothing to any.
        if (signed > 0.0).any():
            end = _Affine(*(part[-1] for part in row))
            found.mix((tail, head), np.maximum(signed, 0.0), end)
        if (signed < 0.0).any():
            end = _Affine(*(part[0] for part in row))
            found.mix((head, tail), np.maximum(-signed, 0.0), end)
    for pump, (tail, head) in enumerate(zip(layout.pump_tail, layout.pump_head, strict=True)):
        capacity = np.maximum(given.pump_capacity[pump], SMALLEST_CAPACITY)
        found.capacity[head] = found.capacity[head] + capacity
        found.add_gain(head, tail, capacity)
        found.add_constant(head, given.pump_heat[pump])
    _mix_case(layout, given, rows, found)
    return found


def _mix_case(layout: HeatLayout, given: HeatInput, rows: list[_Affine], found: _Balances) -> None:
    """Add the balance of the case air: what flows in, warmed by radiators, and the heat inside."""
    case, entering = layout.node_count, given.air_into_case
    fresh = np.maximum(row_sum(entering), SMALLEST_CAPACITY)
    found.capacity[case] = found.capacity[case] + fresh
    found.add_constant(case, fresh * given.room + given.case_heat)
    for branch, elements in enumerate(layout.elements):
        forward = given.branch_capacity[branch] >= 0.0
        for place, element in enumerate(elements):
            if element.is_block:
                continue
            inside = entering[layout.radiator_path[element.index]] > 0.0
            into_case = np.where(inside, given.conductance[element.index], 0.0)
            for way, node, at in (
                (forward, layout.branch_tail[branch], place),
                (~forward, layout.branch_head[branch], place + 1),
            ):
                if not (way & inside).any():
                    continue
                through = np.where(way, into_case, 0.0)
                found.add_gain(case, node, through * rows[branch].start[at])
                found.add_gain(case, case, through * rows[branch].case[at])
                found.add_constant(case, through * (rows[branch].constant[at] - given.room))


def _solved(given: _Balances) -> Array:
    """Put each balance into those after it, then read the temperatures from the last back.

    What a balance gains never outweighs its capacity, so that no order of them is needed; and
    every step is one operation on all cases, so that no case depends on its neighbours.
    """
    capacity, gain, constant = given
    size = len(capacity)
    for row in range(size):
        later = [other for other in range(row + 1, size) if (row, other) in gain]
        for other in range(row + 1, size):
            if (other, row) not in gain:
                continue
            share = gain[other, row] / capacity[row]
            given.add_constant(other, share * constant[row])
            for source in later:
                given.add_gain(other, source, share * gain[row, source])
    solution = np.empty((size, constant[0].size))
    for row in reversed(range(size)):
        total = constant[row]
        for other in range(row + 1, size):
            if (row, other) in gain:
                total = total + gain[row, other] * solution[other]
        np.divide(total, capacity[row], out=solution[row])
    return solution
