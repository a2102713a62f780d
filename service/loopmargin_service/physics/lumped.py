"""Temperatures of a machine on their way: lumped heat stores joined by streams.

Stores are the coolant of each junction, each block with the coolant in it, and each
radiator with its coolant. Between them the coolant runs as in `heat_balance`, without
delay; case air follows at once. Flows and conductances stand still, so temperatures obey
dx/dt = A x + b, which `transient` solves. At rest the system has the temperatures of
`heat_balance`.

A state is the rise of every store over the room with a one at its end, so that b is the
last column of the rate matrix. Arrays of states and matrices begin with the batch axis.
"""

from typing import NamedTuple

import numpy as np

from loopmargin_service.physics.heat_balance import (
    SMALLEST_CAPACITY,
    STAGNANT_TIE,
    HeatElement,
    HeatInput,
    HeatLayout,
)
from loopmargin_service.physics.network import Array
from loopmargin_service.physics.transient import read

# Least resistance of a block [K/W] and least share of a radiator's on the air side [-].
LEAST_RESISTANCE = 1e-6
LEAST_AIR_SHARE = 0.02


class Stores(NamedTuple):
    """Heat capacities of junctions, blocks and radiators, each (…, batch). [J/K]"""

    junction: Array
    block: Array
    radiator: Array


class Couplings(NamedTuple):
    """What joins stores and streams, each (…, batch). [W/K]

    `block` is between a block and the coolant entering it; `coolant_side` between a
    radiator and the coolant entering it; `air_side` between it and the air entering it.
    """

    block: Array
    coolant_side: Array
    air_side: Array


class Lumped(NamedTuple):
    """A linear system and where its coolant is read, all on states with a one at the end.

    `rate` is (batch, n, n) [1/s]; `coolant` (batch, points, n) gives the rise along all
    branches as `heat_balance` stacks them, `outlets` (batch, blocks, n) that behind each
    block; `first_block` is the place of the first block among the stores.
    """

    rate: Array
    coolant: Array
    outlets: Array
    first_block: int


def couplings(
    layout: HeatLayout, given: HeatInput, resistance: Array, air_share: Array
) -> Couplings:
    """
    Split what is known between inlets into what joins stores and streams.

    Parameters
    ----------
    layout : HeatLayout
        What is where. [-]
    given : HeatInput
        Flows and conductances. [SI]
    resistance : ndarray
        Of each block to the coolant entering it, (blocks, batch). [K/W]
    air_share : ndarray
        Share of each radiator's resistance on its air side, (radiators, batch). [-]

    Returns
    -------
    Couplings
        Conductances. [W/K]

    Notes
    -----
    A stream passes on no more than its capacity rate, which bounds both couplings to the
    coolant; the two of a radiator keep their sum of resistances.
    """
    blocks, radiators = _streams(layout, given)
    block = np.minimum(1.0 / np.maximum(resistance, LEAST_RESISTANCE), blocks)
    whole = 1.0 / np.maximum(given.conductance, SMALLEST_CAPACITY)
    wet = np.maximum((1.0 - air_share) * whole, 1.0 / radiators)
    wet = np.minimum(wet, (1.0 - LEAST_AIR_SHARE) * whole)
    return Couplings(block, 1.0 / wet, 1.0 / (whole - wet))


def _streams(layout: HeatLayout, given: HeatInput) -> tuple[Array, Array]:
    """Give the capacity rate through every block and every radiator. [W/K]"""
    through = np.maximum(np.abs(given.branch_capacity), SMALLEST_CAPACITY)
    blocks = np.ones_like(given.block_heat)
    radiators = np.ones_like(given.conductance)
    for branch, elements in enumerate(layout.elements):
        for element in elements:
            (blocks if element.is_block else radiators)[element.index] = through[branch]
    return blocks, radiators


def assemble(layout: HeatLayout, given: HeatInput, stores: Stores, joined: Couplings) -> Lumped:
    """
    Write the balances of all stores as one linear system.

    Parameters
    ----------
    layout : HeatLayout
        What is where. [-]
    given : HeatInput
        Flows and heats; its conductances are not used. [SI]
    stores : Stores
        Heat capacities, each above zero. [J/K]
    joined : Couplings
        From `couplings`. [W/K]

    Returns
    -------
    Lumped
        The system. [SI]

    Notes
    -----
    First law for each store. Off its diagonal the rate matrix has no negative entry, so
    from a cold start all temperatures only rise.
    """
    count = np.array([len(part) for part in stores])
    capacity = np.concatenate(stores).T
    power = np.zeros((capacity.shape[0], capacity.shape[1], capacity.shape[1] + 1))
    plan = _Plan(layout, given, joined, int(count[0]), int(count[:2].sum()), power)
    rows = [_branch_rows(plan, branch) for branch in range(len(layout.elements))]
    outlets = np.zeros((power.shape[0], count[1], power.shape[2]))
    case = _case_row(plan)
    for branch, row in enumerate(rows):
        _mix_branch(plan, branch, row)
        _exchange(plan, branch, row, case, outlets)
    _mix_pumps(plan)
    node = np.arange(layout.node_count)
    power[:, node, node] -= STAGNANT_TIE
    rate = np.zeros((power.shape[0], power.shape[2], power.shape[2]))
    rate[:, :-1] = power / capacity[:, :, None]
    return Lumped(rate, np.concatenate(rows, axis=1), outlets, plan.first_block)


class _Plan(NamedTuple):
    """What the balances are written from, and the heat into each store per state. [W]"""

    layout: HeatLayout
    given: HeatInput
    joined: Couplings
    first_block: int
    first_radiator: int
    power: Array

    def store(self, element: HeatElement) -> int:
        """Give the place of a block or radiator among the stores."""
        return (self.first_block if element.is_block else self.first_radiator) + element.index

    def to_coolant(self, element: HeatElement) -> Array:
        """Give the conductance between an element and the coolant entering it. [W/K]"""
        kind = self.joined.block if element.is_block else self.joined.coolant_side
        return np.asarray(kind[element.index])


def _branch_rows(plan: _Plan, branch: int) -> Array:
    """Give the coolant along a branch from its tail to its head, by the states of the stores."""
    signed = plan.given.branch_capacity[branch]
    elements = plan.layout.elements[branch]
    ahead = _along(plan, elements, plan.layout.branch_tail[branch], np.abs(signed))
    if (signed >= 0.0).all():
        return ahead
    back = _along(plan, elements[::-1], plan.layout.branch_head[branch], np.abs(signed))
    return np.where((signed >= 0.0)[:, None, None], ahead, back[:, ::-1])


def _along(plan: _Plan, elements: tuple[HeatElement, ...], node: int, flow: Array) -> Array:
    """Follow the coolant: each element pulls it towards its own temperature."""
    rows = np.zeros((flow.size, len(elements) + 1, plan.power.shape[2]))
    rows[:, 0, node] = 1.0
    capacity = np.maximum(flow, SMALLEST_CAPACITY)
    for number, element in enumerate(elements):
        pull = plan.to_coolant(element) / capacity
        rows[:, number + 1] = rows[:, number] * (1.0 - pull)[:, None]
        rows[:, number + 1, plan.store(element)] += pull
    return rows


def _case_row(plan: _Plan) -> Array:
    """Give the rise of the case air by the states of the stores."""
    given, paths = plan.given, np.array(plan.layout.radiator_path, dtype=np.intp)
    row = np.zeros((plan.power.shape[0], plan.power.shape[2]))
    inside = np.where(given.air_into_case[paths] > 0.0, plan.joined.air_side, 0.0)
    changed = np.maximum(given.air_into_case.sum(axis=0), SMALLEST_CAPACITY)
    changed = changed + (inside * given.from_case[paths]).sum(axis=0)
    row[:, -1] = given.case_heat / changed
    row[:, plan.first_radiator : plan.first_radiator + len(paths)] = (inside / changed).T
    return row


def _mix_branch(plan: _Plan, branch: int, row: Array) -> None:
    """Let a branch flow into the junction at its end."""
    signed = plan.given.branch_capacity[branch]
    ends = plan.layout.branch_tail[branch], plan.layout.branch_head[branch]
    _mix(plan.power, ends[1], np.maximum(signed, 0.0), row[:, -1])
    _mix(plan.power, ends[0], np.maximum(-signed, 0.0), row[:, 0])


def _mix_pumps(plan: _Plan) -> None:
    """Let the pumps flow into the junctions behind them, with the heat that they give."""
    given, layout = plan.given, plan.layout
    for pump, (tail, head) in enumerate(zip(layout.pump_tail, layout.pump_head, strict=True)):
        source = np.zeros((plan.power.shape[0], plan.power.shape[2]))
        source[:, tail] = 1.0
        capacity = np.maximum(given.pump_capacity[pump], SMALLEST_CAPACITY)
        _mix(plan.power, head, capacity, source)
        plan.power[:, head, -1] += given.pump_heat[pump]


def _mix(power: Array, sink: int, capacity: Array, source: Array) -> None:
    """Add a stream that ends in a junction to the balance of the junction."""
    power[:, sink] += capacity[:, None] * source
    power[:, sink, sink] -= capacity


def _exchange(plan: _Plan, branch: int, row: Array, case: Array, outlets: Array) -> None:
    """Add what blocks and radiators give and take to their balances."""
    forward = (plan.given.branch_capacity[branch] >= 0.0)[:, None]
    for place, element in enumerate(plan.layout.elements[branch]):
        store = plan.store(element)
        inlet = np.where(forward, row[:, place], row[:, place + 1])
        _mix(plan.power, store, plan.to_coolant(element), inlet)
        if element.is_block:
            outlets[:, element.index] = np.where(forward, row[:, place + 1], row[:, place])
            plan.power[:, store, -1] += plan.given.block_heat[element.index]
            continue
        from_case = plan.given.from_case[plan.layout.radiator_path[element.index]]
        air = from_case[:, None] * case
        _mix(plan.power, store, plan.joined.air_side[element.index], air)


def stopped(running: Lumped, state: Array, stores: Stores, block_heat: Array) -> Lumped:
    """
    Give the system whose coolant stands: every block keeps its heat.

    Parameters
    ----------
    running : Lumped
        The system before the coolant stopped. [SI]
    state : ndarray
        State in that moment, (batch, n). [K]
    stores : Stores
        Heat capacities; only those of the blocks are used. [J/K]
    block_heat : ndarray
        Heat of each block, (blocks, batch). [W]

    Returns
    -------
    Lumped
        The system; its coolant is read behind each block, then where it was warmest. [SI]

    Notes
    -----
    C dT/dt = P for a block and the coolant in it, which keep the difference they had.
    Left out, on the safe side: thermosiphon and conduction along tubes.
    """
    first = running.first_block
    blocks = slice(first, first + len(stores.block))
    rate = np.zeros_like(running.rate)
    rate[:, blocks, -1] = (block_heat / stores.block).T
    behind = np.zeros_like(running.outlets)
    number = np.arange(len(stores.block))
    behind[:, number, first + number] = 1.0
    behind[:, :, -1] = read(running.outlets, state) - state[:, blocks]
    warmest = np.zeros_like(running.coolant[:, :1])
    warmest[:, 0, -1] = read(running.coolant, state).max(axis=1)
    return Lumped(rate, np.concatenate([behind, warmest], axis=1), behind, first)


def at_room(system: Lumped) -> Array:
    """Give the state in which everything is as warm as the room, (batch, n). [K]"""
    state = np.zeros(system.rate.shape[:2])
    state[:, -1] = 1.0
    return state


def at_rest(system: Lumped) -> Array:
    """Give the state that the system settles at, (batch, n). [K]"""
    state = at_room(system)
    inner, source = system.rate[:, :-1, :-1], system.rate[:, :-1, -1:]
    state[:, :-1] = np.linalg.solve(inner, -source)[:, :, 0]
    return state
