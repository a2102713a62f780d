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

from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple, Protocol, Self

import numpy as np
from numpy.typing import NDArray

from loopmargin_service.physics import batch, rows, star_mesh

Array = rows.Array
Which = NDArray[np.bool_]

ITERATION_LIMIT = 80
TOLERANCE = 1e-10
SHORTEST_STEP = 0.1
SHORTENINGS = 12
# Where a step through a check valve is stopped, behind it; after so many iterations no more,
# should a valve turn back and forth. [kg/s]
BEHIND_VALVE = 1e-9
PATIENCE = 20
# A step larger than this, over the largest flow, is not the last, however small the residual:
# a link that is stiffer than all others would hide theirs.
NEAR = 1e-3


class Law(Protocol):
    """What the links do to the flow through them, for all cases at once."""

    def __call__(self, flow: Array) -> tuple[Array, Array]:
        """Give pressure drops [Pa] and slopes [Pa s/kg] at flows [kg/s], (links, batch)."""

    def cases(self, chosen: rows.Index) -> Self:
        """Give the law of some cases alone."""


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
    def ends(self) -> tuple[rows.Index, rows.Index]:
        """Give the nodes at the tails and at the heads of the links. [-]"""
        return np.array(self.tail, dtype=np.intp), np.array(self.head, dtype=np.intp)

    @cached_property
    def plan(self) -> star_mesh.Plan:
        """Give the order in which the pressures of the nodes are found. [-]"""
        ends = tuple(zip(self.tail, self.head, strict=True))
        return star_mesh.plan(self.node_count, ends, self.reference)


class Flows(NamedTuple):
    """Solution of a network and how the iteration ended.

    `flow` [kg/s] is (links, batch), `pressure` [Pa] is (nodes, batch) and zero at the
    reference; `residual` [-] is the largest pressure imbalance of a link over the size of
    the pressure drops, and `converged` says for each case whether it is below the tolerance;
    `iterations` [-] are those that the case itself took. These three are (batch,).
    """

    flow: Array
    pressure: Array
    residual: Array
    converged: Which
    iterations: rows.Index

    def case(self, number: int) -> "Flows":
        """Give one case alone, still with a batch axis."""
        return batch.cases_of(self, np.array([number]))


class _Iteration(NamedTuple):
    """Flows on their way, each (…, batch); `conserved` says where the nodes are in balance."""

    flow: Array
    drop: Array
    slope: Array
    pressure: Array
    residual: Array
    conserved: Which
    converged: Which
    iterations: rows.Index


def solve(topology: Topology, law: Law, start: Array) -> Flows:
    """
    Solve for the flows at which every link and every node balance.

    Parameters
    ----------
    topology : Topology
        Links and nodes; every link must lie on a cycle. [-]
    law : Law
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
    cases = start.shape[1]
    never = np.zeros(cases, dtype=np.bool_)
    begin = _Iteration(
        start,
        *law(start),
        pressure=np.zeros((topology.node_count, cases)),
        residual=np.full(cases, np.inf),
        conserved=never,
        converged=never,
        iterations=np.zeros(cases, dtype=np.intp),
    )

    def step(law: Law, now: _Iteration) -> _Iteration:
        return _iterate(topology, law, now)

    end = batch.repeat_until_settled(step, law, begin, ITERATION_LIMIT)
    return Flows(end.flow, end.pressure, end.residual, end.converged, end.iterations)


def _iterate(topology: Topology, law: Law, now: _Iteration) -> _Iteration:
    """Linearise, solve, and take the step as far as it goes."""
    pressure, force, step = newton_step(topology, now.flow, now.drop, now.slope)
    step, whole = _shut(topology, now.flow, step, patient=int(now.iterations[0]) < PATIENCE)
    flow, drop, slope = _advance(law, now, step, force, now.conserved & whole)
    residual = _imbalance(drop, force, slope * flow)
    near = relative_change(step, now.flow) < NEAR
    return _Iteration(
        flow,
        drop,
        slope,
        pressure,
        residual,
        conserved=whole,
        converged=whole & near & (residual < TOLERANCE),
        iterations=now.iterations + 1,
    )


def _shut(topology: Topology, flow: Array, step: Array, *, patient: bool) -> tuple[Array, Which]:
    """Stop a step that would drive flow back through a check valve just behind the valve.

    The law of a valve has a corner at zero flow, where a step taken from one side means
    nothing on the other. Returns the steps and whether each case took its step whole; mass is
    conserved again after the next whole step.
    """
    first = topology.first_valve
    ahead = flow[first:] + step[first:]
    if not patient or ahead.size == 0 or ahead.min() >= 0.0:
        return step, np.ones(flow.shape[1], dtype=np.bool_)
    back = (flow[first:] > 0.0) & (ahead < 0.0)
    stopped = step.copy()
    stopped[first:] = np.where(back, -flow[first:] - BEHIND_VALVE, step[first:])
    return stopped, np.asarray(~back.any(axis=0), dtype=np.bool_)


def newton_step(
    topology: Topology, flow: Array, drop: Array, slope: Array
) -> tuple[Array, Array, Array]:
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
        Pressures of all nodes, zero at the reference [Pa]; by how much the pressure at the head
        of each link is above that at its tail [Pa]; and the change of every flow [kg/s], after
        which mass is conserved.

    Notes
    -----
    [1]_ in the form of [2]_, section "Hydraulics", with mass flow and pressure.
    """
    conductance = 1.0 / slope
    pressure = star_mesh.node_pressures(topology.plan, conductance, flow - drop * conductance)
    tail, head = topology.ends
    force = pressure.take(head, axis=0) - pressure.take(tail, axis=0)
    return pressure, force, -conductance * (drop + force)


def relative_change(step: Array, flow: Array) -> Array:
    """Largest change of a flow over the largest flow, for each case. [-]"""
    return np.asarray(rows.row_max(np.abs(step)) / (rows.row_max(np.abs(flow)) + 1e-12))


def _advance(
    law: Law, now: _Iteration, step: Array, force: Array, conserved: Which
) -> tuple[Array, Array, Array]:
    """Take the step, shortened in those cases where it overshoots the least content.

    *force* is the pressure that the nodes exert; it adds nothing to the exact content, since a
    step conserves mass, but it cancels the round-off that would otherwise pass for an overshoot.
    Cases in which mass is not *conserved* along the step take it whole.
    """
    flow = now.flow + step
    drop, slope = law(flow)
    falling = -rows.row_sum(now.slope * step * step)
    share = np.ones_like(falling)
    for _ in range(SHORTENINGS):
        rising = rows.row_sum((drop + force) * step)
        over = (conserved & (rising > -0.5 * falling)).nonzero()[0]
        if not over.size:
            break
        down, up = falling[over], rising[over]
        shorter = down / (down - up)
        share[over] *= np.maximum(shorter, SHORTEST_STEP)
        part = law if over.size == share.size else law.cases(over)
        flow[:, over] = now.flow[:, over] + share[over] * step[:, over]
        drop[:, over], slope[:, over] = part(flow[:, over])
    return flow, drop, slope


def _imbalance(drop: Array, force: Array, scale: Array) -> Array:
    """Give the largest difference of link drop and node pressures, over the size of the drops.

    A fan or pump inside a link can bring its drop near zero, so the size counts slope times
    flow as well.
    """
    left = rows.row_max(np.abs(drop + force))
    size = rows.row_max(np.maximum(np.abs(drop), np.abs(scale)))
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
