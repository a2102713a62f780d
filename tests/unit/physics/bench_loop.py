"""Loops on the bench: tubes and measured parts in branches, pumps between nodes."""

import math
from collections.abc import Sequence
from typing import NamedTuple

import fluids
import numpy as np
from hypothesis import strategies as st

from loopmargin_service.physics.coolant import Properties
from loopmargin_service.physics.curve import Curve, falling_curve
from loopmargin_service.physics.loop import (
    Components,
    Liquid,
    Loop,
    LoopLaw,
    RunningPumps,
    loop_terms,
)
from loopmargin_service.physics.network import Array, Flows, Law, solve
from loopmargin_service.physics.passage import Passages

LITRE_PER_MINUTE = 1e-3 / 60.0
DENSITY, VISCOSITY, GRAVITY = 998.2, 1.002e-3, 9.80665


class Tube(NamedTuple):
    """A tube with its fittings: K = viscous / Re + inertial on its own bore. [m]"""

    length: float
    bore: float = 0.010
    roughness: float = 1.5e-6
    viscous: float = 0.0
    inertial: float = 0.0


TUBES = st.builds(
    Tube,
    length=st.floats(0.0, 3.0),
    bore=st.floats(0.005, 0.016),
    roughness=st.floats(0.0, 1e-4),
    viscous=st.floats(0.0, 1000.0),
    inertial=st.floats(0.0, 30.0),
)


class Part(NamedTuple):
    """A part that loses linear Q + quadratic Q^2 in water of 20 degC. [Pa and m3/s]"""

    linear: float = 1.5e7
    quadratic: float = 1.26e12


class Branch(NamedTuple):
    """What stands in a row between two nodes."""

    tail: int
    head: int
    elements: Sequence[Tube | Part] = ()


class Pump(NamedTuple):
    """A pump between two nodes, by the points of its curve. [m3/s and m]"""

    curve: Curve
    tail: int = 0
    head: int = 1


def parabola(head: float = 4.0, litres_per_minute: float = 15.0) -> Curve:
    """Give the curve of a pump with this head at no flow and this flow at no head."""
    return falling_curve([0.0, litres_per_minute * LITRE_PER_MINUTE], [head, 0.0])


def loop(branches: Sequence[Branch], pumps: Sequence[Pump]) -> Loop:
    """Lay out a loop; its first node is the reference."""
    ends = [link[:2] for link in branches] + [(pump.tail, pump.head) for pump in pumps]
    return Loop(
        node_count=1 + max(max(pair) for pair in ends),
        branch_tail=tuple(branch.tail for branch in branches),
        branch_head=tuple(branch.head for branch in branches),
        pump_tail=tuple(pump.tail for pump in pumps),
        pump_head=tuple(pump.head for pump in pumps),
        reference=0,
        passages=passages(branches),
        components=components(branches),
        curves=tuple(pump.curve for pump in pumps),
    )


def passages(branches: Sequence[Branch]) -> Passages:
    """Gather the tubes of all branches."""
    rows = [
        (number, tube.bore, tube.roughness / tube.bore, tube.length / tube.bore, *tube[3:])
        for number, branch in enumerate(branches)
        for tube in branch.elements
        if isinstance(tube, Tube)
    ]
    table = np.array(rows, dtype=np.float64).reshape(-1, 6).T
    return Passages(table[0].astype(np.intp), *table[1:])


def components(branches: Sequence[Branch]) -> Components:
    """Gather the measured parts of all branches."""
    rows = [
        (number, *part, VISCOSITY, DENSITY)
        for number, branch in enumerate(branches)
        for part in branch.elements
        if isinstance(part, Part)
    ]
    table = np.array(rows, dtype=np.float64).reshape(-1, 5).T
    return Components(table[0].astype(np.intp), *table[1:])


def everywhere(
    count: int, viscosity: Array | float, density: Array | float = DENSITY
) -> Properties:
    """Give one state in a number of places; viscosity and density may be batches."""
    batch = np.broadcast_shapes(np.shape(viscosity), np.shape(density), (1,))
    values = (density, viscosity, 4180.0, 0.6)
    return Properties(*(np.broadcast_to(value, (count, *batch)).copy() for value in values))


def filled(
    layout: Loop, viscosity: Array | float = VISCOSITY, density: Array | float = DENSITY
) -> Liquid:
    """Fill a loop with one coolant of one state."""
    counts = (layout.passages.bore.size, layout.components.linear.size, len(layout.curves))
    return Liquid(*(everywhere(count, viscosity, density) for count in counts))


def law(layout: Loop, liquid: Liquid, speed: float | Array = 1.0) -> Law:
    """Give the law of all links of a loop with running pumps."""
    ratio = np.broadcast_to(speed, (len(layout.curves), liquid.pumps.density.shape[1]))
    return LoopLaw(loop_terms(layout, liquid), RunningPumps(layout.curves, liquid.pumps, ratio))


def flows(layout: Loop, liquid: Liquid | None = None, speed: float | Array = 1.0) -> Flows:
    """Solve a loop, and insist that it has settled."""
    inside = filled(layout) if liquid is None else liquid
    start = np.full((len(layout.topology.tail), inside.pumps.density.shape[1]), 0.05)
    solved = solve(layout.topology, law(layout, inside, speed), start)
    assert solved.converged.all()
    return solved


def litres_per_minute(mass_flow: Array, density: float = DENSITY) -> Array:
    """Give mass flows in the unit of the workshop."""
    return mass_flow / density / LITRE_PER_MINUTE


def darcy_weisbach(tube: Tube, mass_flow: float, density: float, viscosity: float) -> float:
    """Give the drop of a tube and its fittings as textbooks print it, with fluids 1.3.1."""
    velocity = mass_flow / (density * math.pi * tube.bore**2 / 4.0)
    reynolds = density * abs(velocity) * tube.bore / viscosity
    factor = fluids.friction.Churchill_1977(reynolds, tube.roughness / tube.bore)
    lost = factor * tube.length / tube.bore + tube.viscous / reynolds + tube.inertial
    return lost * density * velocity * abs(velocity) / 2.0
