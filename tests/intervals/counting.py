"""Intervals counted: how many hold the truth, and what chance allows."""

from collections.abc import Callable, Iterator
from typing import NamedTuple

import msgspec
import numpy as np
from scipy import stats

from loopmargin_service.questions import steady_state
from loopmargin_service.questions.radiator_draws import CORE_LAW
from loopmargin_wire.steady_state import SteadyStateQuestion
from loopmargin_wire.uncertainty import Simulation
from tests.intervals.truths import Document, factor_of, stated, truth

CONFIDENCES = (0.95, 0.80, 0.50)
# Chance of a count outside its band, were the intervals right. [-]
ALPHA = 1e-3

Progress = Callable[[int], None]


class Count(NamedTuple):
    """Truths below, inside and above the intervals of one quantity at one confidence."""

    below: int
    inside: int
    above: int

    @property
    def machines(self) -> int:
        """How many machines were counted."""
        return self.below + self.inside + self.above


class Band(NamedTuple):
    """Counts that chance allows; exact, by the binomial distribution."""

    low: int
    high: int

    def holds(self, count: int) -> bool:
        """Say whether a count is inside."""
        return self.low <= count <= self.high


def band(machines: int, share: float) -> Band:
    """Give the counts that right intervals have, but for a chance of `ALPHA`."""
    found = stats.binom.ppf([0.5 * ALPHA, 1.0 - 0.5 * ALPHA], machines, share)
    return Band(int(found[0]), int(found[1]))


def counted(machines: int, draws: int, told: Progress) -> dict[tuple[str, float], Count]:
    """Ask of so many machines, and count where their truths lie."""
    counts: dict[tuple[str, float], Count] = {}
    for number in range(machines):
        for key, place in _placed(number, draws):
            counts[key] = _added(counts.get(key, Count(0, 0, 0)), place)
        told(number + 1)
    return counts


def _added(count: Count, place: int) -> Count:
    """Count one truth more."""
    return Count(*(have + (place == row) for row, have in enumerate(count)))


def _placed(number: int, draws: int) -> Iterator[tuple[tuple[str, float], int]]:
    """Say of one machine whether each truth is below (0), inside (1) or above (2)."""
    random = np.random.default_rng(number)
    document = stated(random)
    asked = [
        {**document, "confidence": confidence, "uncertainty": {"draws": draws}}
        for confidence in CONFIDENCES
    ]
    found = [_simulation(one) for one in asked]
    core = next(row for row in found[0].inputs if row.cause == CORE_LAW)
    real = truth(document, factor_of(random), core.standard_uncertainty)
    if real is None:
        return
    for simulation in found:
        for spread in simulation.spreads:
            value = real.get(spread.quantity)
            if value is not None:
                place = 1 - (value < spread.low) + (value > spread.high)
                yield (spread.quantity, simulation.confidence), place


def _simulation(document: Document) -> Simulation:
    """Ask the service."""
    answer = steady_state.answer(msgspec.convert(document, SteadyStateQuestion))
    assert answer.state is not None
    assert answer.state.simulation is not None
    return answer.state.simulation
