"""A loop over a range of pump speeds, and the speed that the required flows need."""

import math
from typing import NamedTuple

import numpy as np

from loopmargin_service.physics import network
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
SORTED = SPEEDS[ORDER]
START_FLOW = 0.03
# No speed beyond this is tried, over the speed asked about.
FASTEST = float(SPEEDS.max())
SPEED_TOLERANCE = 1e-6
SPEED_STEPS = 12


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


class Speeds(NamedTuple):
    """The loop solved over the range of speeds."""

    loop: Loop
    liquid: Liquid
    ratios: Array
    terms: LoopTerms
    flows: Flows

    def needed(self, required: Required) -> float | None:
        """Find the common factor on all speeds at which every required flow is reached."""
        reached = share_of_required(self.loop, self.flows.flow, required)[ORDER]
        if reached[-1] < 1.0:
            return None
        above = int(np.argmax(reached >= 1.0))
        guess = _interpolated(reached, above)
        flow = self.flows.flow[:, [ORDER[above]]] * (guess / float(SORTED[above]))
        low = (float(SORTED[above - 1]), float(reached[above - 1])) if above else (0.0, 0.0)
        return self._refine(
            required, (low, (float(SORTED[above]), float(reached[above]))), guess, flow
        )

    def _refine(
        self,
        required: Required,
        bracket: tuple[tuple[float, float], tuple[float, float]],
        speed: float,
        flow: Array,
    ) -> float | None:
        """Close in on the speed; flow goes almost in proportion to it."""
        low, high = bracket
        for _ in range(SPEED_STEPS):
            pumps = RunningPumps(self.loop.curves, self.liquid.pumps, self.ratios * speed)
            solved = network.solve(self.loop.topology, LoopLaw(self.terms, pumps), flow)
            share = float(share_of_required(self.loop, solved.flow, required)[0])
            if not solved.converged.all():
                return None
            if abs(share - 1.0) < SPEED_TOLERANCE:
                return speed
            low, high = ((speed, share), high) if share < 1.0 else (low, (speed, share))
            speed = _between(low, high)
            flow = solved.flow / share
        return None


def _interpolated(reached: Array, above: int) -> float:
    """Guess the speed from three neighbouring shares, on logarithmic scales."""
    first = min(max(above - 1, 0), reached.size - 3)
    near = slice(first, first + 3)
    if above == 0 or reached[first] <= 0.0:
        return float(SORTED[above] / reached[above])
    share, speed = np.log(reached[near]), np.log(SORTED[near])
    weights = [
        np.prod([share[j] / (share[j] - share[i]) for j in range(3) if j != i]) for i in range(3)
    ]
    low = SORTED[above - 1]
    return float(np.clip(np.exp(np.dot(weights, speed)), low, SORTED[above]))


def _between(low: tuple[float, float], high: tuple[float, float]) -> float:
    """Interpolate for a share of one, by a power law where both ends allow it."""
    (slow, little), (fast, much) = low, high
    if little <= 0.0 or slow <= 0.0:
        return slow + (fast - slow) * (1.0 - little) / (much - little)
    power = math.log(fast / slow) / math.log(much / little)
    return float(slow * (1.0 / little) ** power)


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
