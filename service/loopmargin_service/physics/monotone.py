"""Smooth interpolation that never overshoots its points, for curves known by a few of them.

The same law as scipy's PchipInterpolator, which the tests hold it to. It stands here because
importing scipy.interpolate takes longer than everything else that the service loads.
"""

import numpy as np
from numpy.typing import NDArray


def slopes(x: NDArray[np.float64], y: NDArray[np.float64]) -> NDArray[np.float64]:
    """Slopes in the points of a shape-preserving cubic.

    Parameters
    ----------
    x : ndarray, shape (n,)
        Rising abscissae, at least two. [unit of x]
    y : ndarray, shape (n,)
        Values. [unit of y]

    Returns
    -------
    ndarray, shape (n,)
        Slopes. [unit of y over unit of x]

    Notes
    -----
    Inside, the weighted harmonic mean of the two secants of [1]_, zero where they differ in
    sign; at the ends the three-point formula, limited so that the shape is kept.

    Validity
    --------
    Points with rising x. Outside nothing is checked.

    References
    ----------
    .. [1] F. N. Fritsch and J. Butland, "A method for constructing local monotone piecewise
           cubic interpolants," SIAM J. Sci. Stat. Comput., vol. 5, no. 2, pp. 300-304, 1984.
    """
    width = np.diff(x)
    secant = np.diff(y) / width
    if secant.size == 1:
        return np.repeat(secant, 2)
    before, after = secant[:-1], secant[1:]
    first, second = 2.0 * width[1:] + width[:-1], width[1:] + 2.0 * width[:-1]
    same = before * after > 0.0
    mean = (first + second) / (
        first / np.where(same, before, 1.0) + second / np.where(same, after, 1.0)
    )
    start = _end(width[0], width[1], secant[0], secant[1])
    end = _end(width[-1], width[-2], secant[-1], secant[-2])
    return np.concatenate([[start], np.where(same, mean, 0.0), [end]])


def _end(near: float, far: float, secant: float, next_secant: float) -> float:
    """Slope in an end point from the two secants beside it."""
    slope = ((2.0 * near + far) * secant - near * next_secant) / (near + far)
    if slope * secant <= 0.0:
        return 0.0
    if secant * next_secant <= 0.0 and abs(slope) > 3.0 * abs(secant):
        return 3.0 * secant
    return float(slope)


def interpolate(
    x: NDArray[np.float64], y: NDArray[np.float64], at: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Value of the shape-preserving cubic through points.

    Parameters
    ----------
    x, y : ndarray, shape (n,)
        Points by rising x, at least two. [unit of x, unit of y]
    at : ndarray
        Where to evaluate, within the points; beyond them the last cubic goes on. [unit of x]

    Returns
    -------
    ndarray
        Values, of the shape of *at*. [unit of y]

    Notes
    -----
    Cubic Hermite pieces with the slopes of `slopes`.

    Validity
    --------
    From the first point to the last. Outside, the cubic pieces at the ends go on.
    """
    slope = slopes(x, y)
    piece = np.clip(np.searchsorted(x, at, side="right") - 1, 0, x.size - 2)
    width = x[piece + 1] - x[piece]
    part = (at - x[piece]) / width
    left = (1.0 + 2.0 * part) * y[piece] + part * width * slope[piece]
    right = (3.0 - 2.0 * part) * y[piece + 1] - (1.0 - part) * width * slope[piece + 1]
    return np.asarray((1.0 - part) ** 2 * left + part**2 * right)
