"""The series over Poisson tails behind the effectiveness of crossflow with both streams unmixed.

With T(n, x) the chance that a Poisson count of mean x exceeds n, the effectiveness is the sum
over n of T(n, NTU) T(n, C NTU) / (C NTU); see `exchanger.effectiveness_crossflow_unmixed`.
"""

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from loopmargin_service.physics.rows import accumulate, row_sum

MEAN_MAX = 50.0
"""Largest number of transfer units on the stronger stream, which is the mean. [-]"""

# Classes of Poisson means, and for each the count of terms beyond which a tail is below 1e-14.
_CLASSES = np.array([1.0, 2.0, 4.0, 8.0, 16.0, MEAN_MAX])
_LENGTHS = tuple(int(mean + 8.0 * np.sqrt(mean) + 16.0) for mean in _CLASSES)

_Series = Callable[[NDArray[np.float64], NDArray[np.float64], int], tuple[NDArray[np.float64], ...]]


def effectiveness(weak: NDArray[np.float64], strong: NDArray[np.float64]) -> NDArray[np.float64]:
    """
    Add up the series.

    Parameters
    ----------
    weak, strong : ndarray
        Transfer units on the weaker and on the stronger stream, above zero, of one shape. [-]

    Returns
    -------
    ndarray
        Effectiveness, within 1e-13; the same digits for a case alone and among others. [-]
    """
    return _by_length(_series, weak, strong)[0]


def effectiveness_and_rise(
    weak: NDArray[np.float64], strong: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """
    Add up the series and its derivative by both transfer units together.

    Parameters
    ----------
    weak, strong : ndarray
        Transfer units on the weaker and on the stronger stream, above zero, of one shape. [-]

    Returns
    -------
    tuple of ndarray
        Effectiveness [-] and what it rises by the transfer units on the weaker stream, at one
        ratio of streams. [-]
    """
    reached, rise = _by_length(_series_with_rise, weak, strong)
    return reached, rise - reached / weak


def _by_length(
    series: _Series, weak: NDArray[np.float64], strong: NDArray[np.float64]
) -> tuple[NDArray[np.float64], ...]:
    """Add up a series, for each case over as many terms as its own class of means needs.

    Were the largest mean to set the length for all, a case would end in other digits among
    other neighbours. What is not a number counts among the longest.
    """
    classes = np.minimum(np.searchsorted(_CLASSES, strong), _CLASSES.size - 1)
    present = np.unique(classes)
    if present.size == 1:
        return series(weak, strong, _LENGTHS[int(present[0])])
    results: tuple[NDArray[np.float64], ...] = ()
    for number in present:
        where = classes == number
        parts = series(weak[where], strong[where], _LENGTHS[number])
        results = results or tuple(np.empty(weak.shape) for _ in parts)
        for result, part in zip(results, parts, strict=True):
            result[where] = part
    return results


def _chances(mean: NDArray[np.float64], count: int) -> NDArray[np.float64]:
    """Poisson chances of 0, 1, ... along a new first axis."""
    chances = np.empty((count, *mean.shape))
    order = np.arange(1.0, count).reshape(-1, *(1,) * mean.ndim)
    chances[0] = np.exp(-mean)
    np.divide(mean, order, out=chances[1:])
    return accumulate(np.multiply, chances)


def _tails_absolute(mean: NDArray[np.float64], count: int) -> NDArray[np.float64]:
    """Chance of more than n, good to 1e-15 of the chance of more than none."""
    tails = np.negative(_chances(mean, count))
    tails[0] = -np.expm1(-mean)
    return accumulate(np.add, tails)


def _tails_relative(mean: NDArray[np.float64], count: int) -> NDArray[np.float64]:
    """Chance of more than n, good to 1e-14 of itself where it matters; count from `_LENGTHS`."""
    chances = _chances(mean, count + 1)[:0:-1]
    return accumulate(np.add, chances)[::-1]


def _series(
    weak: NDArray[np.float64], strong: NDArray[np.float64], count: int
) -> tuple[NDArray[np.float64]]:
    """Effectiveness, from the transfer units on both streams."""
    terms = _tails_absolute(weak, count) * _tails_relative(strong, count)
    return (np.asarray(row_sum(terms) / strong),)


def _series_with_rise(
    weak: NDArray[np.float64], strong: NDArray[np.float64], count: int
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Effectiveness, and its rise with both transfer units but for their quotient."""
    weak_tails, strong_tails = _tails_absolute(weak, count), _tails_relative(strong, count)
    reached = row_sum(weak_tails * strong_tails) / strong
    rise = _chances(weak, count) * strong_tails / strong
    rise += weak_tails * _chances(strong, count) / weak
    return np.asarray(reached), row_sum(rise)
