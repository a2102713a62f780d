"""A loop over a range of pump speeds, and the speed that the required flows need."""

import math
from typing import NamedTuple

import numpy as np

from loopmargin_service.physics import network
from loopmargin_service.physics.bracket import Bracket, between
from loopmargin_service.physics.constants import STANDARD_GRAVITY
from loopmargin_service.physics.loop import (
    Liquid,
    Loop,
    LoopLaw,
    LoopTerms,
    RunningPumps,
    loop_terms,
    pump_gain,
)
from loopmargin_service.physics.network import Array, Flows
from loopmargin_service.physics.rows import row_sum

# Speeds at which the loop is solved together, over the speed asked about.
SPEEDS = np.array([1.0, 0.25, 0.4, 0.55, 0.7, 0.85, 1.15, 1.35, 1.6, 2.0, 2.6, 4.0])
RUN = 0
ORDER = np.argsort(SPEEDS)
START_FLOW = 0.03
# No speed beyond this is tried, over the speed asked about.
FASTEST = float(SPEEDS.max())
# No speed below this is told apart from standing still, over the speed asked about.
SLOWEST = 1e-4
# Where the flow is so close to the one required, or the speed is known so well, it is told.
SHARE_TOLERANCE = 1e-6
SPEED_TOLERANCE = 1e-9
# No smaller share of the required flow is told apart from none.
LEAST_SHARE = 1e-6


class Required(NamedTuple):
    """Flows asked for [kg/s]: through the whole loop, and by branch number."""

    total: float
    branches: dict[int, float]


def over_speeds(loop: Loop, liquid: Liquid, ratios: Array) -> "Speeds":
    """Solve the loop at all speeds together; *ratios* are those of the run, (pumps, 1)."""
    start = np.tile(START_FLOW * SPEEDS, (len(loop.topology.tail), 1))
    terms = loop_terms(loop, liquid)
    law = LoopLaw(terms, RunningPumps(loop.curves, liquid.pumps, ratios * SPEEDS))
    return Speeds(loop, liquid, ratios, terms, network.solve(loop.topology, law, start))


class Needed(NamedTuple):
    """The common factor on all speeds that the required flows need.

    `factor` is None where no speed is enough, or where that could not be `settled`.
    """

    factor: float | None
    settled: bool = True


UNSETTLED = Needed(None, settled=False)


class Speeds(NamedTuple):
    """The loop solved over the range of speeds."""

    loop: Loop
    liquid: Liquid
    ratios: Array
    terms: LoopTerms
    flows: Flows

    def needed(self, required: Required) -> Needed:
        """Find the common factor on all speeds at which every required flow is reached."""
        order = ORDER[self.flows.converged[ORDER]]
        reached = share_of_required(self.loop, self.flows.flow, required)[order]
        enough = (reached >= 1.0).nonzero()[0]
        if not enough.size:
            return Needed(None) if FASTEST in SPEEDS[order] else UNSETTLED
        above = int(enough[0])
        fast = order[above]
        slow, little = (SPEEDS[order[above - 1]], reached[above - 1]) if above else (SLOWEST, 0.0)
        bracket = between(*_place(slow, little), *_place(SPEEDS[fast], reached[above]))
        return self._closed_in(required, bracket, self.flows.flow[:, [fast]])

    def _closed_in(self, required: Required, bracket: Bracket, flow: Array) -> Needed:
        """Close in on the speed, from the flows at the fast end."""
        last = math.exp(bracket.high)
        while bracket.width > SPEED_TOLERANCE:
            speed = math.exp(bracket.trial())
            pumps = RunningPumps(self.loop.curves, self.liquid.pumps, self.ratios * speed)
            law = LoopLaw(self.terms, pumps)
            solved = network.solve(self.loop.topology, law, flow * (speed / last))
            if not solved.converged.all():
                return UNSETTLED
            share = float(share_of_required(self.loop, solved.flow, required)[0])
            if abs(share - 1.0) < SHARE_TOLERANCE:
                return Needed(speed)
            bracket = bracket.narrowed(*_place(speed, share))
            flow, last = solved.flow, speed
        return Needed(math.exp(bracket.high))


def _place(speed: float, share: float) -> tuple[float, float]:
    """Give a speed and its share on scales where they go nearly in proportion."""
    return math.log(speed), math.log(max(share, LEAST_SHARE))


def total_flow(loop: Loop, flow: Array) -> Array:
    """Give the flow through the junction that the first pump draws from. [kg/s]"""
    node = loop.pump_tail[0]
    tails = np.array(loop.topology.tail)[:, None] == node
    heads = np.array(loop.topology.head)[:, None] == node
    signed = np.where(tails, flow, 0.0) - np.where(heads, flow, 0.0)
    return row_sum(np.maximum(signed, 0.0))


def share_of_required(loop: Loop, flow: Array, required: Required) -> Array:
    """Give the smallest flow over what is required of it, for each case. [-]"""
    shares = [total_flow(loop, flow) / required.total]
    shares += [flow[row] / wanted for row, wanted in required.branches.items()]
    return np.asarray(np.min(shares, axis=0))


def loop_head(loop: Loop, liquid: Liquid, flow: Array, ratios: Array) -> Array:
    """Give the head of the loop: power of all pumps over weight of the total flow. [m]"""
    pumped = flow[len(loop.branch_tail) :]
    gain, _ = pump_gain(loop.curves, liquid.pumps, pumped, ratios)
    power = row_sum(gain * pumped / liquid.pumps.density)
    weight = np.maximum(total_flow(loop, flow), 1e-12) / liquid.pumps.density[0]
    return np.asarray(power / (weight * liquid.pumps.density[0] * STANDARD_GRAVITY))
