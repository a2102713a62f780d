"""One criterion as a margin: demand, capacity, surplus and how sure that is."""

import math
from collections.abc import Iterable

from loopmargin_wire.answer import Margin, Verdict

# The bound of a reason on the wire: a machine of many parts can fail at more than fits.
LONGEST_REASON = 2000


def margin(
    criterion: str,
    demand: float,
    capacity: float,
    unit: str,
    uncertainty: float | None,
    confidence: float,
    *,
    drawn: float | None = None,
) -> Margin:
    """Compare demand and capacity; `uncertainty` is the standard uncertainty of the surplus.

    The chance that the criterion holds is that of a normal distribution around the
    surplus, unless it was *drawn*: counted among machines drawn at random. Without a known
    uncertainty there is no chance to state, and a surplus of zero or more meets the criterion.
    """
    surplus = float(capacity) - float(demand)
    chance = drawn
    if chance is None and uncertainty is not None:
        chance = chance_of_holding(surplus, float(uncertainty))
    return Margin(
        criterion=criterion,
        demand=float(demand),
        capacity=float(capacity),
        surplus=surplus,
        unit=unit,
        verdict=verdict(surplus, chance, confidence),
        standard_uncertainty=None if uncertainty is None else float(uncertainty),
        chance=chance,
    )


def chance_of_holding(surplus: float, uncertainty: float) -> float:
    """Give the chance that the true surplus is not negative; certain when nothing is uncertain."""
    if uncertainty <= 0.0:
        return 1.0 if surplus >= 0.0 else 0.0
    return 0.5 * math.erfc(-surplus / (uncertainty * math.sqrt(2.0)))


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
