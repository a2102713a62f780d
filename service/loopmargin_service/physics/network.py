"""Steady flow in a network of links between nodes, for liquid loops and for air paths alike.

The global gradient method of Todini and Pilati, in mass flow and pressure: each
iteration linearises every link about its flow, solves one small linear system for the
node pressures and updates all flows, after which mass is conserved at every node. The
equations are the optimum conditions of a convex sum of integrals over the links (its
"content"), so a step that overshoots along the content is cut back; with links whose
pressure drop rises with flow this reaches the one solution from any start.

All arrays end in a batch axis: one case and many are the same code.

References
----------
.. [1] E. Todini and S. Pilati, "A gradient algorithm for the analysis of pipe networks,"
       in Computer Applications in Water Supply, vol. 1, Research Studies Press, 1988.
.. [2] EPANET 2.2 User Manual, chapter 12 "Analysis algorithms", US EPA, 2020.
"""

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
# True or false for every case, or for each.
Which = NDArray[np.bool_] | np.bool_
Law = Callable[[Array], tuple[Array, Array]]

ITERATION_LIMIT = 80
TOLERANCE = 1e-10
SHORTEST_STEP = 0.1
SHORTENINGS = 12
# Where a step through a check valve is stopped, behind it; after so many iterations no more,
# should a valve turn back and forth. [kg/s]
BEHIND_VALVE = 1e-9
PATIENCE = 40
# A step this small, over the largest flow, may be the last.
NEAR = 1e-3


@dataclass(frozen=True)
class Topology:
    """Which nodes each link joins; pressures are relative to the reference node.

    So many of the last links are `check_valves`: their law has a corner at zero flow.
    """

    node_count: int
    tail: tuple[int, ...]
    head: tuple[int, ...]
    reference: int
    check_valves: int = 0

    @property
    def first_valve(self) -> int:
        """Number of the first link behind a check valve. [-]"""
        return len(self.tail) - self.check_valves

    @cached_property
    def incidence(self) -> Array:
        """Give a row for each node but the reference: -1 where a link leaves, +1 where it ends."""
        matrix = np.zeros((self.node_count, len(self.tail)))
        for link, (tail, head) in enumerate(zip(self.tail, self.head, strict=True)):
            matrix[tail, link] -= 1.0
            matrix[head, link] += 1.0
        return np.delete(matrix, self.reference, axis=0)

    @cached_property
    def outer(self) -> Array:
        """Give the products of incidence rows, one column for each link."""
        rows = self.incidence
        return (rows[:, None, :] * rows[None, :, :]).reshape(-1, rows.shape[1])


class Flows(NamedTuple):
    """Solution of a network and how the iteration ended.

    `flow` [kg/s] is (links, batch), `pressure` [Pa] is (nodes, batch) and zero at the
    reference; `residual` [-] is the largest pressure imbalance of a link over the size of
    the pressure drops, and `converged` says for each case whether it is below the tolerance.
    """

    flow: Array
    pressure: Array
    residual: Array
    converged: NDArray[np.bool_]
    iterations: int

    def case(self, number: int) -> "Flows":
        """Give one case alone, still with a batch axis."""
        one = slice(number, number + 1)
        return Flows(
            self.flow[:, one],
            self.pressure[:, one],
            self.residual[one],
            self.converged[one],
            self.iterations,
        )


def solve(topology: Topology, law: Law, start: Array) -> Flows:
    """
    Solve for the flows at which every link and every node balance.

    Parameters
    ----------
    topology : Topology
        Links and nodes; every link must lie on a cycle. [-]
    law : callable
        Takes flows [kg/s] of shape (links, batch) and returns the pressure drop of each
        link in its own direction [Pa], rising with flow, and its slope [Pa s/kg].
    start : ndarray
        First guess of the flows, (links, batch); continuity is not needed. [kg/s]

    Returns
    -------
    Flows
        Flows, pressures and the state of the iteration. [kg/s and Pa]

    Notes
    -----
    A case that has not converged within `ITERATION_LIMIT` is returned with
    `converged` false; its numbers must not be used.
    """
    flow = start
    drop, slope = law(flow)
    residual = np.full(start.shape[1], np.inf)
    conserved: Which = np.False_
    pressure = np.zeros((topology.node_count - 1, start.shape[1]))
    iterations, near = 0, False
    while iterations < ITERATION_LIMIT and not (residual < TOLERANCE).all():
        pressure, step = newton_step(topology, flow, drop, slope)
        step, whole = _shut(topology, flow, step, patient=iterations < PATIENCE)
        near = bool((relative_change(step, flow) < NEAR).all())
        before = slope, topology.incidence.T @ pressure
        flow, drop, slope = _advance(law, flow, step, before, conserved & whole)
        conserved = whole
        if near:
            residual = _imbalance(topology, drop, pressure, slope * flow)
        iterations += 1
    if not near:
        residual = _imbalance(topology, drop, pressure, slope * flow)
    pressure = with_reference(topology, pressure)
    return Flows(flow, pressure, residual, residual < TOLERANCE, iterations)


def _shut(topology: Topology, flow: Array, step: Array, *, patient: bool) -> tuple[Array, Which]:
    """Stop a step that would drive flow back through a check valve just behind the valve.

    The law of a valve has a corner at zero flow, where a step taken from one side means
    nothing on the other. Returns the steps and whether each case took its step whole; mass is
    conserved again after the next whole step.
    """
    first = topology.first_valve
    ahead = flow[first:] + step[first:]
    if not patient or ahead.size == 0 or ahead.min() >= 0.0:
        return step, np.True_
    back = (flow[first:] > 0.0) & (ahead < 0.0)
    stopped = step.copy()
    stopped[first:] = np.where(back, -flow[first:] - BEHIND_VALVE, step[first:])
    return stopped, np.asarray(~back.any(axis=0), dtype=np.bool_)


def newton_step(topology: Topology, flow: Array, drop: Array, slope: Array) -> tuple[Array, Array]:
    """
    Solve the network linearised about given flows.

    Parameters
    ----------
    topology : Topology
        Links and nodes. [-]
    flow, drop, slope : ndarray
        Flows [kg/s], pressure drops [Pa] and slopes [Pa s/kg], (links, batch).

    Returns
    -------
    tuple of ndarray
        Pressures of all nodes but the reference [Pa] and the change of every flow [kg/s],
        after which mass is conserved.

    Notes
    -----
    [1]_ in the form of [2]_, section "Hydraulics", with mass flow and pressure.
    """
    conductance = 1.0 / slope
    guess = flow - drop * conductance
    pressure = _node_pressure(topology, conductance, guess)
    step = guess - conductance * (topology.incidence.T @ pressure) - flow
    return pressure, step


def with_reference(topology: Topology, pressure: Array) -> Array:
    """Put the reference node, at zero, back among the pressures of the others. [Pa]"""
    zero = np.zeros((1, pressure.shape[1]))
    at = topology.reference
    return np.concatenate([pressure[:at], zero, pressure[at:]])


def relative_change(step: Array, flow: Array) -> Array:
    """Largest change of a flow over the largest flow, for each case. [-]"""
    return np.asarray(np.abs(step).max(axis=0) / (np.abs(flow).max(axis=0) + 1e-12))


def _node_pressure(topology: Topology, conductance: Array, guess: Array) -> Array:
    """Solve the linear system of the nodes, for all cases at once."""
    matrix = topology.outer @ conductance
    right = topology.incidence @ guess
    size = topology.incidence.shape[0]
    if size == 1:
        return np.asarray(right / matrix)
    stacked = matrix.T.reshape(matrix.shape[1], size, size)
    return np.asarray(np.linalg.solve(stacked, right.T[:, :, None])[:, :, 0].T)


def _advance(
    law: Law,
    flow: Array,
    step: Array,
    before: tuple[Array, Array],
    conserved: Which,
) -> tuple[Array, Array, Array]:
    """Take the step, shortened in those cases where it overshoots the least content.

    *before* is the slope at the start of the step and the pressure that the nodes exert; that
    pressure adds nothing to the exact content, since a step conserves mass, but it cancels
    the round-off that would otherwise pass for an overshoot. Cases in which mass is not
    *conserved* along the step take it whole.
    """
    if not conserved.any():
        return flow + step, *law(flow + step)
    start_slope, force = before
    falling = -(start_slope * step * step).sum(axis=0)
    share = np.ones_like(falling)
    for _ in range(SHORTENINGS):
        ahead = flow + share * step
        drop, slope = law(ahead)
        rising = ((drop + force) * step).sum(axis=0)
        overshoot = conserved & (rising > -0.5 * falling)
        if not overshoot.any():
            break
        shorter = falling / (falling - rising - (falling == rising))
        share = np.where(overshoot, share * np.maximum(shorter, SHORTEST_STEP), share)
    return ahead, drop, slope


def _imbalance(topology: Topology, drop: Array, pressure: Array, scale: Array) -> Array:
    """Give the largest difference of link drop and node pressures, over the size of the drops.

    A fan or pump inside a link can bring its drop near zero, so the size counts slope times
    flow as well.
    """
    left = np.abs(drop + topology.incidence.T @ pressure).max(axis=0)
    size = np.maximum(np.abs(drop), np.abs(scale)).max(axis=0)
    return np.asarray(left / (size + 1e-12))


def links_without_return(topology: Topology) -> list[int]:
    """Give the numbers of the links on no cycle, which steady flow cannot pass. [-]"""
    count = len(topology.tail)
    return [link for link in range(count) if not _joined_without(topology, link)]


def _joined_without(topology: Topology, left_out: int) -> bool:
    """Say whether both ends of a link are joined by the other links."""
    group = list(range(topology.node_count))

    def root(node: int) -> int:
        while group[node] != node:
            group[node] = group[group[node]]
            node = group[node]
        return node

    for link, (tail, head) in enumerate(zip(topology.tail, topology.head, strict=True)):
        if link != left_out:
            group[root(tail)] = root(head)
    return root(topology.tail[left_out]) == root(topology.head[left_out])
