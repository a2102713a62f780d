"""Tubes between nodes, put into the loop and the network under test."""

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from loopmargin_service.physics.coolant import Properties
from loopmargin_service.physics.curve import Curve
from loopmargin_service.physics.loop import (
    Components,
    Liquid,
    Loop,
    LoopLaw,
    RunningPumps,
    loop_terms,
)
from loopmargin_service.physics.network import Array, Flows, solve
from loopmargin_service.physics.passage import Passages
from loopmargin_service.physics.rows import Index


class Tube(NamedTuple):
    """A tube from one node to another, with fittings on its own bore. [m, Pa]

    `lift` is a pressure that drives the flow along the tube, as a difference of level does.
    """

    tail: int
    head: int
    length: float
    bore: float
    roughness: float = 1.5e-6
    loss: float = 0.0
    lift: float = 0.0


class Lifted(NamedTuple):
    """A loop whose tubes lift what flows in them, (links, 1). [Pa]"""

    law: LoopLaw
    lift: Array

    def __call__(self, flow: Array) -> tuple[Array, Array]:
        """Give drops and slopes of all links."""
        drop, slope = self.law(flow)
        return drop - self.lift, slope

    def cases(self, chosen: Index) -> "Lifted":
        """Give the law of some cases."""
        return Lifted(self.law.cases(chosen), self.lift)


def volume_flows(
    tubes: Sequence[Tube],
    density: float,
    viscosity: float,
    pumps: Sequence[tuple[int, int, Curve]] = (),
) -> tuple[Array, Flows]:
    """Solve for the flow [m3/s] of each tube and of each pump from one node to another."""
    loop = _loop(tubes, pumps)
    liquid = _liquid((len(tubes), len(pumps)), density, viscosity)
    running = RunningPumps(loop.curves, liquid.pumps, np.ones((len(loop.curves), 1)))
    lift = np.array([[tube.lift] for tube in tubes] + [[0.0]] * len(loop.curves))
    lifted = Lifted(LoopLaw(loop_terms(loop, liquid), running), lift)
    flows = solve(loop.topology, lifted, np.full((len(lift), 1), 0.05))
    assert flows.converged.all()
    return flows.flow[:, 0] / density, flows


def _loop(tubes: Sequence[Tube], pumps: Sequence[tuple[int, int, Curve]]) -> Loop:
    columns = np.array([tube[2:6] for tube in tubes]).T
    length, bore, roughness, loss = columns
    none = np.zeros(0)
    return Loop(
        node_count=1 + max(max(link[:2]) for link in (*tubes, *pumps)),
        branch_tail=tuple(tube.tail for tube in tubes),
        branch_head=tuple(tube.head for tube in tubes),
        pump_tail=tuple(pump[0] for pump in pumps),
        pump_head=tuple(pump[1] for pump in pumps),
        reference=0,
        passages=Passages(
            np.arange(len(tubes)), bore, roughness / bore, length / bore, 0.0 * loss, loss
        ),
        components=Components(none.astype(np.intp), none, none, none, none),
        curves=tuple(pump[2] for pump in pumps),
    )


def _liquid(counts: tuple[int, int], density: float, viscosity: float) -> Liquid:
    values = (density, viscosity, 4180.0, 0.6)
    places = (counts[0], 0, counts[1])
    return Liquid(
        *(Properties(*(np.full((count, 1), value) for value in values)) for count in places)
    )
