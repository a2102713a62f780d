"""Falling performance curve of a pump or fan: head or pressure over flow.

A falling curve meets a rising resistance exactly once, so every curve here falls strictly,
inside its points and beyond them.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from loopmargin_service.physics import monotone

CHECK_VALVE_STEEPNESS = 1.0e8
"""Slope of a closed check valve over the mean slope of the curve. [-]"""

# A curve that is level in a point still falls by this share of its mean slope there.
_LEAST_FALL = 1.0e-6
# A standing machine is one that turns this slowly, which keeps x / ratio finite.
_LEAST_RATIO = 1.0e-6


@dataclass(frozen=True, eq=False)
class Curve:
    """A performance curve at the speed it was measured at.

    Attributes
    ----------
    x : ndarray, shape (n,)
        Flow of the points, rising. [m3/s]
    y : ndarray, shape (n,)
        Head or pressure of the points, falling. [m or Pa]
    slopes : ndarray, shape (n,)
        Slope of the curve in the points. [unit of y over unit of x]
    pieces : ndarray, shape (5, n + 1)
        Start and four coefficients, constant first, of the cubic before, between and after
        the points.
    mean_slope : float
        Slope from the first point to the last. [unit of y over unit of x]
    """

    x: NDArray[np.float64]
    y: NDArray[np.float64]
    slopes: NDArray[np.float64]
    pieces: NDArray[np.float64]
    mean_slope: float


def strictly_falling(x: ArrayLike, y: ArrayLike) -> bool:
    """Whether points make a curve: at least two, finite, *x* rising and *y* falling.

    Parameters
    ----------
    x : array_like, shape (n,)
        Flow of the points. [m3/s]
    y : array_like, shape (n,)
        Head or pressure of the points. [m or Pa]

    Returns
    -------
    bool
        True if `falling_curve` may be built from them. [-]
    """
    flow = np.asarray(x, dtype=np.float64)
    head = np.asarray(y, dtype=np.float64)
    finite = np.isfinite(flow).all() and np.isfinite(head).all()
    return bool(
        flow.size > 1 and finite and (np.diff(flow) > 0.0).all() and (np.diff(head) < 0.0).all()
    )


def falling_curve(x: ArrayLike, y: ArrayLike) -> Curve:
    """Draw a smooth falling curve through points.

    Parameters
    ----------
    x : array_like, shape (n,)
        Flow of the points, none negative. [m3/s]
    y : array_like, shape (n,)
        Head or pressure of the points; `strictly_falling` with *x*. [m or Pa]

    Returns
    -------
    Curve
        The curve, ready for `value_and_slope`. [m or Pa, m3/s]

    Notes
    -----
    Two points from zero flow on, shut-off and free flow, make the parabola with its top at
    zero flow, the usual shape of a small centrifugal pump, as in [1]_. Other points are
    joined by the monotone cubic of [2]_, which has no hump that the points do not have.
    Beyond the last point the curve goes straight on with the steeper of its end slope and
    the last secant, before the first point with the steeper of its first slope and the
    first secant.

    Validity
    --------
    Points that `strictly_falling` accepts. Outside the points the curve goes straight on, as
    said above.

    References
    ----------
    .. [1] L. A. Rossman et al., EPANET 2.2 User Manual, EPA/600/R-20/133, 2020, chapter 3.
    .. [2] F. N. Fritsch and J. Butland, "A method for constructing local monotone piecewise
           cubic interpolants," SIAM J. Sci. Stat. Comput., vol. 5, no. 2, pp. 300-304, 1984.
           doi:10.1137/0905021
    """
    flow = np.array(x, dtype=np.float64)
    head = np.array(y, dtype=np.float64)
    slopes = _slopes(flow, head)
    mean_slope = float((head[-1] - head[0]) / (flow[-1] - flow[0]))
    return Curve(flow, head, slopes, _pieces(flow, head, slopes), mean_slope)


def value_and_slope(
    curve: Curve, x: ArrayLike, ratio: ArrayLike = 1.0, *, check_valve: bool = False
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Head or pressure at a flow and a speed, and how steeply it falls.

    Parameters
    ----------
    curve : Curve
        The curve at the speed it was measured at. [m or Pa, m3/s]
    x : array_like
        Flow, of either sign. [m3/s]
    ratio : array_like
        Speed over the speed of the measurement, broadcast with *x*. [-]
    check_valve : bool
        Whether a check valve closes against flow below zero. [-]

    Returns
    -------
    value : ndarray
        Head or pressure. [m or Pa]
    slope : ndarray
        Its derivative by the flow, always below zero. [unit of y over unit of x]

    Notes
    -----
    Affinity: flow goes with the speed, head with its square [1]_; good for 0.6 to 1.1 times
    the speed of the measurement and fair down to 0.5. A standing machine has neither head
    nor resistance here. A closed check valve is a line `CHECK_VALVE_STEEPNESS` times as
    steep as the curve, whatever the speed, so that what leaks back is negligible while a
    solver still sees which way is out. In a point where the curve is level, the slope
    returned is a millionth of the mean slope instead of zero.

    Validity
    --------
    0.5 to 1.1 times the speed of the measurement. Outside, affinity goes on, and the curve
    straight.

    References
    ----------
    .. [1] L. A. Rossman et al., EPANET 2.2 User Manual, EPA/600/R-20/133, 2020, chapter 12.
    """
    flow = np.asarray(x, dtype=np.float64)
    speed = np.maximum(ratio, _LEAST_RATIO)
    scaled = flow / speed
    piece = curve.x.searchsorted(scaled, side="right")
    start, constant, linear, square, cube = curve.pieces.take(piece, axis=1)
    step = scaled - start
    value = speed * speed * (((cube * step + square) * step + linear) * step + constant)
    slope = (3.0 * cube * step + 2.0 * square) * step + linear
    slope = speed * np.minimum(slope, _LEAST_FALL * curve.mean_slope)
    if not check_valve:
        return value, slope
    steepness = CHECK_VALVE_STEEPNESS * curve.mean_slope
    return value + steepness * np.minimum(flow, 0.0), slope + steepness * (flow < 0.0)


def _slopes(flow: NDArray[np.float64], head: NDArray[np.float64]) -> NDArray[np.float64]:
    """Slope of the curve in each point."""
    if flow.size == 2 and flow[0] == 0.0:  # noqa: PLR2004 - two points make the parabola
        return np.array([0.0, 2.0 * (head[1] - head[0]) / flow[1]])
    return monotone.slopes(flow, head)


def _pieces(
    flow: NDArray[np.float64], head: NDArray[np.float64], slopes: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Start and coefficients of the line before, the cubics between and the line after."""
    width = np.diff(flow)
    secant = np.diff(head) / width
    square = (3.0 * secant - 2.0 * slopes[:-1] - slopes[1:]) / width
    cube = (slopes[:-1] + slopes[1:] - 2.0 * secant) / width**2
    before = (flow[0], head[0], min(slopes[0], secant[0]), 0.0, 0.0)
    after = (flow[-1], head[-1], min(slopes[-1], secant[-1]), 0.0, 0.0)
    between = np.stack((flow[:-1], head[:-1], slopes[:-1], square, cube))
    return np.column_stack((before, between, after))
