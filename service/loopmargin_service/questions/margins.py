"""One criterion as a margin: demand, capacity, surplus and how sure that is."""

import math
from collections.abc import Iterable

import numpy as np

from loopmargin_service.physics.network import Array
from loopmargin_service.questions.spreads import (
    LEAST_SETTLED,
    standard_uncertainty,
    two_digits,
)
from loopmargin_wire.answer import Margin, Verdict

# Of a surplus that fewer draws than this share have, no deviation is stated.
MOST = 0.5
# The bound of a reason on the wire: a machine of many parts can fail at more than fits.
LONGEST_REASON = 2000


def margin(
    criterion: str,
    demand: float,
    capacity: float,
    unit: str,
    confidence: float,
    drawn: Array | None = None,
) -> Margin:
    """Compare demand and capacity; *drawn* is the surplus in every case drawn, in their unit.

    The chance that the criterion holds is the share of draws whose surplus is not negative;
    one without an answer has a surplus that is not finite, and does not hold. Without draws
    there is no chance to state, and a surplus of zero or more meets the criterion.
    """
    surplus = float(capacity) - float(demand)
    chance = None if drawn is None else chance_of(drawn)
    return Margin(
        criterion=criterion,
        demand=float(demand),
        capacity=float(capacity),
        surplus=surplus,
        unit=unit,
        verdict=verdict(surplus, chance, confidence),
        standard_uncertainty=None if drawn is None else _uncertainty(drawn),
        chance=chance,
        chance_standard_error=None if drawn is None else chance_error(drawn),
    )


def chance_of(drawn: Array) -> float:
    """Count the share of draws in which a criterion holds."""
    return float((drawn >= 0.0).mean())


def _uncertainty(drawn: Array) -> float | None:
    """Give the standard deviation of a surplus, if most draws have one."""
    finite = drawn[np.isfinite(drawn)]
    if finite.size < max(LEAST_SETTLED, MOST * drawn.size):
        return None
    return standard_uncertainty(finite)


def chance_error(drawn: Array) -> float:
    """Give the standard error of a counted chance.

    Half a draw is added on either side (H. Jeffreys, Theory of Probability, 1961; from memory),
    so that a thousand draws of a thousand do not pass for certain.
    """
    held, count = int((drawn >= 0.0).sum()), drawn.size
    share = (held + 0.5) / (count + 1.0)
    return two_digits(math.sqrt(share * (1.0 - share) / (count + 1.0)))


def verdict(surplus: float, chance: float | None, confidence: float) -> Verdict:
    """Name the outcome: fails, tight when it holds without the confidence asked for, or meets."""
    if surplus < 0.0:
        return "fails"
    if chance is not None and chance < confidence:
        return "tight"
    return "meets"


def failing(margins: Iterable[Margin]) -> list[str]:
    """Give the criteria that fail."""
    return [item.criterion for item in margins if item.verdict == "fails"]


def fails(criteria: Iterable[str]) -> str:
    """Give failing criteria as a reason, cut to what the wire allows."""
    return f"fails: {'; '.join(criteria)}"[:LONGEST_REASON]
