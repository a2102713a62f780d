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
    matrix, right = _assemble(layout, given, rows)
    stacked = np.moveaxis(matrix, -1, 0)
    solution = np.asarray(
        np.linalg.solve(stacked, right.T[:, :, None])[:, :, 0].T, dtype=np.float64
    )
    case = solution[-1]
    profiles = tuple(
        row.start * solution[_source(layout, given, branch), np.arange(case.size)]
        + row.constant
        + row.case * case
        for branch, row in enumerate(rows)
    )
    return Temperatures(solution[:-1], profiles, case)


def _source(
    layout: HeatLayout, given: HeatInput, branch: int
) -> np.ndarray[tuple[int], np.dtype[np.intp]]:
    """Give the node that feeds a branch in each case."""
    forward = given.branch_capacity[branch] >= 0.0
    return np.where(forward, layout.branch_tail[branch], layout.branch_head[branch])


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


def _assemble(layout: HeatLayout, given: HeatInput, rows: list[_Affine]) -> tuple[Array, Array]:
    """Write the balance of every node and of the case air as matrix and right side."""
    size, batch = layout.node_count + 1, given.room.size
    matrix = np.zeros((size, size, batch))
    matrix[np.arange(size), np.arange(size)] = STAGNANT_TIE
    right = STAGNANT_TIE * np.tile(given.room, (size, 1))
    for branch, row in enumerate(rows):
        signed = given.branch_capacity[branch]
        tail, head = layout.branch_tail[branch], layout.branch_head[branch]
        end = _Affine(*(part[-1] for part in row))
        _mix(matrix, right, (tail, head), np.maximum(signed, 0.0), end)
        end = _Affine(*(part[0] for part in row))
        _mix(matrix, right, (head, tail), np.maximum(-signed, 0.0), end)
    for pump, (tail, head) in enumerate(zip(layout.pump_tail, layout.pump_head, strict=True)):
        capacity = np.maximum(given.pump_capacity[pump], SMALLEST_CAPACITY)
        none = np.zeros(batch)
        end = _Affine(np.ones(batch), given.pump_heat[pump] / capacity, none)
        _mix(matrix, right, (tail, head), capacity, end)
    _mix_case(layout, given, rows, matrix, right)
    return matrix, right


def _mix(matrix: Array, right: Array, ends: tuple[int, int], capacity: Array, end: _Affine) -> None:
    """Add a stream that leaves one node and ends in another to the balance of the latter."""
    source, sink = ends
    matrix[sink, sink] += capacity
    matrix[sink, source] -= capacity * end.start
    matrix[sink, -1] -= capacity * end.case
    right[sink] += capacity * end.constant


def _mix_case(
    layout: HeatLayout, given: HeatInput, rows: list[_Affine], matrix: Array, right: Array
) -> None:
    """Add the balance of the case air: what flows in, warmed by radiators, and the heat inside."""
    entering = given.air_into_case
    fresh = np.maximum(row_sum(entering), SMALLEST_CAPACITY)
    matrix[-1, -1] += fresh
    right[-1] += fresh * given.room + given.case_heat
    batch = np.arange(given.room.size)
    for branch, elements in enumerate(layout.elements):
        source = _source(layout, given, branch)
        forward = given.branch_capacity[branch] >= 0.0
        for place, element in enumerate(elements):
            if element.is_block:
                continue
            inside = entering[layout.radiator_path[element.index]] > 0.0
            into_case = np.where(inside, given.conductance[element.index], 0.0)
            inlet = _Affine(
                *(np.where(forward, part[place], part[place + 1]) for part in rows[branch])
            )
            matrix[-1, source, batch] -= into_case * inlet.start
            matrix[-1, -1] -= into_case * inlet.case
            right[-1] += into_case * (inlet.constant - given.room)
