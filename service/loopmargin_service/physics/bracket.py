"""Closing in on where a function crosses zero, with a bound on the steps that it takes.

The method of Oliveira and Takahashi: interpolate, truncate towards the middle, project near it.
Between ends that differ in sign it needs one step more than halving at the worst, and few on a
function that is nearly straight; unlike the plain secant it cannot keep one end for ever.

References
----------
.. [1] I. F. D. Oliveira and R. H. C. Takahashi, "An enhancement of the bisection method average
       performance preserving minmax optimality," ACM Trans. Math. Softw., vol. 47, no. 1,
       article 5, 2020. doi:10.1145/3423597
"""

import math
from typing import NamedTuple

# How far the secant's point is moved towards the middle, over width squared over first width:
# kappa_1 of [1]_ at kappa_2 = 2.
NUDGE = 0.2
# Steps that may be wasted beyond those of halving: n_0 of [1]_.
SLACK = 1


class Bracket(NamedTuple):
    """Two places with a crossing between them, and how wide they may stand.

    At `low` the function is `below`, at `high` `above`, with zero between; after so many `steps`
    the ends stand no wider apart than `start` halved so often but for `SLACK`. Places and values
    are of any unit.
    """

    low: float
    below: float
    high: float
    above: float
    start: float
    steps: int = 0

    @property
    def width(self) -> float:
        """How far the ends stand apart. [any unit]"""
        return self.high - self.low

    def trial(self) -> float:
        """
        Say where to try next.

        Returns
        -------
        float
            A place between the ends. [any unit]

        Notes
        -----
        Interpolation, truncation and projection of [1]_, written down from memory; the bound on
        the width follows from the last alone.
        """
        middle = 0.5 * (self.low + self.high)
        share = self.below / (self.below - self.above)
        away = middle - (self.low + share * self.width)
        nudge = NUDGE * self.width**2 / self.start
        away = math.copysign(max(abs(away) - nudge, 0.0), away)
        left = self.start * 0.5 ** (self.steps + 1 - SLACK) - 0.5 * self.width
        return middle - math.copysign(min(abs(away), max(left, 0.0)), away)

    def narrowed(self, place: float, value: float) -> "Bracket":
        """
        Take a place that was tried as the end on its own side.

        Parameters
        ----------
        place : float
            Between the ends. [any unit]
        value : float
            The function there; zero counts as above. [any unit]

        Returns
        -------
        Bracket
            The ends, closer together. [any unit]
        """
        if value < 0.0:
            return self._replace(low=place, below=value, steps=self.steps + 1)
        return self._replace(high=place, above=value, steps=self.steps + 1)


def between(low: float, below: float, high: float, above: float) -> Bracket:
    """
    Begin with two places.

    Parameters
    ----------
    low, high : float
        The lower and the higher place. [any unit]
    below, above : float
        The function there: below zero, and zero or above. [any unit]

    Returns
    -------
    Bracket
        The two as ends. [any unit]
    """
    return Bracket(low, below, high, above, high - low)
