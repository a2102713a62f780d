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
    tubes: Sequence[Tube], density: float, viscosity: float, pump: Curve | None = None
) -> tuple[Array, Flows]:
    """Solve for the flow [m3/s] of each tube and of the pump, which lifts from node 0 to 1."""
    loop = _loop(tubes, pump)
    liquid = _liquid(len(tubes), density, viscosity)
    pumps = RunningPumps(loop.curves, liquid.pumps, np.ones((len(loop.curves), 1)))
    lift = np.array([[tube.lift] for tube in tubes] + [[0.0]] * len(loop.curves))
    lifted = Lifted(LoopLaw(loop_terms(loop, liquid), pumps), lift)
    flows = solve(loop.topology, lifted, np.full((len(lift), 1), 0.05))
    assert flows.converged.all()
    return flows.flow[:, 0] / density, flows


def _loop(tubes: Sequence[Tube], pump: Curve | None) -> Loop:
    columns = np.array([tube[2:6] for tube in tubes]).T
    length, bore, roughness, loss = columns
    ends = ((0,), (1,)) if pump else ((), ())
    none = np.zeros(0)
    return Loop(
        node_count=1 + max(max(tube.tail, tube.head) for tube in tubes),
        branch_tail=tuple(tube.tail for tube in tubes),
        branch_head=tuple(tube.head for tube in tubes),
        pump_tail=ends[0],
        pump_head=ends[1],
        reference=0,
        passages=Passages(
            np.arange(len(tubes)), bore, roughness / bore, length / bore, 0.0 * loss, loss
        ),
        components=Components(none.astype(np.intp), none, none, none, none),
        curves=(pump,) if pump else (),
    )


def _liquid(count: int, density: float, viscosity: float) -> Liquid:
    everywhere = Properties(
        *(np.full((count, 1), value) for value in (density, viscosity, 4180.0, 0.6))
    )
    nowhere = Properties(*(array[:0] for array in everywhere))
    pumps = Properties(*(array[:1] for array in everywhere))
    return Liquid(everywhere, nowhere, pumps)
