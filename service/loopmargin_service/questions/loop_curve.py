"""The head that a loop takes over flow, and where its pumps meet it.

With one pump the loop is solved at wanted flows, which needs no iteration on the pump: the
head that it takes at each is the loop's own curve, the pump's curve crosses it at the
operating point, and the speed that a flow needs follows from the pump's curve alone. With
several pumps the curve of the loop is not one line, and the loop is solved over speeds.
"""

import math
from typing import NamedTuple

import numpy as np

from loopmargin_service.physics import network
from loopmargin_service.physics.constants import STANDARD_GRAVITY
from loopmargin_service.physics.curve import Curve, value_and_slope
from loopmargin_service.physics.loop import (
    ImposedFlow,
    Liquid,
    Loop,
    LoopLaw,
    LoopTerms,
    RunningPumps,
    loop_terms,
)
from loopmargin_service.physics.network import Array, Flows
from loopmargin_service.questions.conversion import L_PER_MIN, out
from loopmargin_service.questions.pump_speed import (
    FASTEST,
    RUN,
    SLOWEST,
    UNSETTLED,
    Needed,
    Required,
    over_speeds,
)
from loopmargin_wire.pump_head import CurvePoint

# Flows that the loop is solved at, over the pump's free flow; the required flow stands first.
SHARES = np.array([0.0, 0.08, 0.16, 0.24, 0.32, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0])
REQUIRED = 0
SPEED_GRID = np.linspace(0.0, 1.0, 40)
SPEED_REFINEMENTS = 5
# Flows closer than this are one, to a first guess.
CLOSE = 1.001


class Found(NamedTuple):
    """The operating point, and what the other solves told.

    `speed` is what every required flow needs, over the speed now; `head` is what the loop
    takes at the required total flow [m], None where that did not settle.
    """

    flows: Flows
    speed: Needed
    head: float | None
    curve: tuple[CurvePoint, ...]


def find(loop: Loop, liquid: Liquid, ratios: Array, required: Required) -> Found:
    """Find where pumps and loop meet; *ratios* are speeds over curve speeds, (pumps, 1)."""
    if len(loop.curves) > 1:
        speeds = over_speeds(loop, liquid, ratios)
        return Found(speeds.flows.case(RUN), speeds.needed(required), None, ())
    return _find_one(loop, liquid, ratios, required)


def _find_one(loop: Loop, liquid: Liquid, ratios: Array, required: Required) -> Found:
    """Find the operating point of the only pump from the curve of the loop."""
    density = float(liquid.pumps.density[0, 0])
    curve, ratio = loop.curves[0], float(ratios[0, 0])
    wanted = SHARES * free_flow(curve, ratio) * density
    wanted[REQUIRED] = required.total
    terms = loop_terms(loop, liquid)
    flows = at_flows(loop, terms, wanted)
    loop_heads = _head(loop, flows, density)
    order = np.argsort(wanted)
    pump_heads = value_and_slope(curve, wanted / density, ratio)[0]
    start = _crossing(
        flows.flow[:, order], loop_heads[order], pump_heads[order], (curve, density, ratio)
    )
    law = LoopLaw(terms, RunningPumps(loop.curves, liquid.pumps, ratios))
    met = network.solve(loop.topology, law, start)
    head = float(loop_heads[REQUIRED]) if flows.converged[REQUIRED] else None
    points = [n for n in order if flows.converged[n] and pump_heads[n] >= 0.0]
    return Found(
        met,
        _speed(loop, liquid, ratios, (required, head)),
        head,
        tuple(
            CurvePoint(
                flow_l_per_min=out(wanted[n] / density, L_PER_MIN),
                pump_head_m=float(pump_heads[n]),
                loop_head_m=float(loop_heads[n]),
            )
            for n in points
        ),
    )


def _speed(
    loop: Loop, liquid: Liquid, ratios: Array, target: tuple[Required, float | None]
) -> Needed:
    """Give the speed for every required flow, over the speed now."""
    required, head = target
    if required.branches:
        return over_speeds(loop, liquid, ratios).needed(required)
    if head is None:
        return UNSETTLED
    volume = required.total / float(liquid.pumps.density[0, 0])
    return Needed(speed_for(loop.curves[0], volume, head, float(ratios[0, 0])))


def free_flow(curve: Curve, ratio: float) -> float:
    """Give the flow at which a pump has no head left. [m3/s]"""
    # On the line beyond the last point; in that point itself the curve may be level.
    beyond = 2.0 * float(curve.x[-1]) * ratio
    head, slope = value_and_slope(curve, beyond, ratio)
    return beyond - float(head) / float(slope)


def at_flows(loop: Loop, terms: LoopTerms, wanted: Array) -> Flows:
    """Solve a loop with one pump at wanted mass flows. [kg/s]"""
    start = np.tile(wanted, (len(loop.topology.tail), 1))
    return network.solve(loop.topology, LoopLaw(terms, ImposedFlow(wanted[None])), start)


def head_at_flow(loop: Loop, liquid: Liquid, wanted: float) -> float | None:
    """Give the head [m] that a loop with one pump takes at a mass flow [kg/s]."""
    head = float(heads_at_flow(loop, loop_terms(loop, liquid), liquid, np.array([wanted]))[0])
    return head if math.isfinite(head) else None


def heads_at_flow(loop: Loop, terms: LoopTerms, liquid: Liquid, wanted: Array) -> Array:
    """Give the head [m] that every case takes at its mass flow [kg/s]; infinite where unknown."""
    flows = at_flows(loop, terms, wanted)
    return np.where(flows.converged, _head(loop, flows, liquid.pumps.density[0]), np.inf)


def _head(loop: Loop, flows: Flows, density: Array | float) -> Array:
    """Give the head between the nodes of the pump. [m]"""
    gain = flows.pressure[loop.pump_head[0]] - flows.pressure[loop.pump_tail[0]]
    return np.asarray(gain / (density * STANDARD_GRAVITY))


def _crossing(
    flow: Array, loop_heads: Array, pump_heads: Array, pump: tuple[Curve, float, float]
) -> Array:
    """Give flows close to the operating point, from the heads on both sides of it.

    The loop's head is taken as a power of flow between the two, which it nearly is, and one
    Newton step on that and on the pump's curve leaves little for the network to do.
    """
    curve, density, ratio = pump
    excess = pump_heads - loop_heads
    above = int(np.argmax(excess < 0.0)) if (excess < 0.0).any() else excess.size - 1
    if above == 0 or loop_heads[above - 1] <= 0.0:
        return flow[:, [above]]
    near, far = float(flow[-1, above - 1]), float(flow[-1, above])
    if far < CLOSE * near or loop_heads[above] <= loop_heads[above - 1]:
        return flow[:, [above]]
    high, low = float(excess[above - 1]), float(excess[above])
    wanted = near + (far - near) * (high / (high - low) if high > low else 0.5)
    power = math.log(loop_heads[above] / loop_heads[above - 1]) / math.log(far / near)
    taken = loop_heads[above] * (wanted / far) ** power
    given, slope = value_and_slope(curve, wanted / density, ratio)
    wanted += (float(given) - taken) / (power * taken / wanted - float(slope) / density)
    share = min(max((wanted - near) / (far - near), 0.0), 1.0)
    return np.asarray(flow[:, [above - 1]] * (1.0 - share) + flow[:, [above]] * share)


def speed_for(curve: Curve, volume: float, head: float, ratio: float) -> float | None:
    """Give the speed over the speed now at which a pump has a head [m] at a flow [m3/s].

    The head rises with the speed, so each grid narrows it down by the number of its steps, to
    less than 1e-6 of the speed wherever the curve has its corners.
    """
    low, high = SLOWEST, FASTEST
    if float(value_and_slope(curve, volume, ratio * high)[0]) < head:
        return None
    for _ in range(SPEED_REFINEMENTS):
        grid = low * (high / low) ** SPEED_GRID
        heads, _ = value_and_slope(curve, volume, ratio * grid)
        # Where the head lies at an end of the grid, rounding may put it just beyond.
        above = min(int((heads < head).sum()), grid.size - 1)
        if above == 0:
            return low
        low, high = float(grid[above - 1]), float(grid[above])
        share = (head - heads[above - 1]) / (heads[above] - heads[above - 1])
    return float(low + (high - low) * share)
