"""Stated intervals hold the truth as often as they say; the short form of `make intervals`."""

import pytest

from tests.intervals.counting import CONFIDENCES, Count, band, counted

MACHINES = 80
QUANTITIES = (
    "hottest coolant",
    "coolant flow",
    "air in the case",
    "temperature of card (1)",
    "temperature of processor (2)",
)


@pytest.fixture(scope="module")
def counts() -> dict[tuple[str, float], Count]:
    """Count over machines that are always the same."""
    return counted(MACHINES, 200, lambda _done: None)


@pytest.mark.parametrize("quantity", QUANTITIES)
@pytest.mark.parametrize("confidence", CONFIDENCES)
def test_truths_lie_inside_as_often_as_is_said(
    counts: dict[tuple[str, float], Count], quantity: str, confidence: float
) -> None:
    """Inside, below and above, each within the exact binomial band at one in a thousand."""
    count, tail = counts[quantity, confidence], 0.5 * (1.0 - confidence)

    assert count.machines == MACHINES
    assert band(MACHINES, confidence).holds(count.inside)
    assert band(MACHINES, tail).holds(count.below)
    assert band(MACHINES, tail).holds(count.above)


def test_bands_are_those_of_the_binomial_distribution() -> None:
    """Of 1000 intervals of 95 %, 926 to 971 hold; intervals of 90 % would not pass for them."""
    assert tuple(band(1000, 0.95)) == (926, 971)
    assert not band(1000, 0.95).holds(900)
