"""Pressure drop of a part as the sum of a part in proportion to flow and one to its square."""

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

WEIGHTED_SPAN = 3.0
"""Largest over smallest flow of the points above which relative errors are fitted. [-]"""

_ONE_BAR = 1.0e5
_WATER_DENSITY = 1000.0
# A drop that was read as zero, or nearly, must not outweigh every other point.
_SMALLEST_DROP = 0.05
# Below this there is no drop to speak of, and nothing to weigh. [Pa]
_NO_DROP = 1.0e-9


class Drop(NamedTuple):
    """Pressure drop linear * Q + quadratic * Q^2 at a volume flow Q.

    Attributes
    ----------
    linear : ndarray
        Part in proportion to the flow, as in laminar flow. [Pa s/m3]
    quadratic : ndarray
        Part in proportion to the square of the flow. [Pa s2/m6]
    """

    linear: NDArray[np.float64]
    quadratic: NDArray[np.float64]


def fit_drop(flow: ArrayLike, pressure_drop: ArrayLike) -> Drop:
    """Least-squares drop through the origin, neither part negative.

    Parameters
    ----------
    flow : array_like, shape (n,)
        Volume flow of the points, none negative, at least one above zero. [m3/s]
    pressure_drop : array_like, shape (n,)
        Pressure drop of the points, none negative. [Pa]

    Returns
    -------
    Drop
        Coefficients of the fit. [Pa s/m3, Pa s2/m6]

    Raises
    ------
    ValueError
        If no point has a flow above zero.

    Notes
    -----
    The exact solution of the least squares problem in two non-negative unknowns: the free
    solution where both are positive, else the better one of the two on an edge [1]_.
    Absolute errors are squared if the flows span up to `WEIGHTED_SPAN`, relative errors
    above that, where a drop under one twentieth of the largest counts as that much. A
    point at no flow says nothing. With a single flow the drop is taken as quadratic. Data
    steeper than the square of the flow lose the linear part.

    Validity
    --------
    The flows of the measurement. Outside, the two terms go on.

    References
    ----------
    .. [1] C. L. Lawson and R. J. Hanson, Solving Least Squares Problems, SIAM, 1995,
           chapter 23.
    """
    points = np.asarray(flow, dtype=np.float64)
    drops = np.asarray(pressure_drop, dtype=np.float64)
    largest = points.max()
    if not largest > 0.0:
        raise ValueError("A pressure drop needs a point with a flow above zero.")
    weights = _weights(points, drops)
    columns = np.stack((points / largest, (points / largest) ** 2)) * weights
    linear, quadratic = _non_negative(columns, drops * weights)
    return Drop(np.asarray(linear / largest), np.asarray(quadratic / largest**2))


def at_state(drop: Drop, viscosity_ratio: ArrayLike, density_ratio: ArrayLike) -> Drop:
    """Drop of the same part with another coolant or at another temperature.

    Parameters
    ----------
    drop : Drop
        Coefficients at the state of the measurement. [Pa s/m3, Pa s2/m6]
    viscosity_ratio : array_like
        Dynamic viscosity now over that of the measurement. [-]
    density_ratio : array_like
        Density now over that of the measurement. [-]

    Returns
    -------
    Drop
        Coefficients at the state now. [Pa s/m3, Pa s2/m6]

    Notes
    -----
    Exact for a laminar part and an inertial part by dimensional analysis; within a few
    percent for turbulent flow along smooth walls, whose drop goes with the viscosity to the
    power 0.25. Take 30 % of the correction as its uncertainty.

    Validity
    --------
    Viscosities within about a factor of 5 of that of the measurement. Outside nothing is
    checked.
    """
    return Drop(
        drop.linear * np.asarray(viscosity_ratio, dtype=np.float64),
        drop.quadratic * np.asarray(density_ratio, dtype=np.float64),
    )


def from_kv(flow_at_one_bar: ArrayLike, density: ArrayLike) -> Drop:
    """Drop of a part that is described by its flow coefficient Kv.

    Parameters
    ----------
    flow_at_one_bar : array_like
        Flow of water at a drop of one bar: Kv, which is printed in m3/h, over 3600. [m3/s]
    density : array_like
        Density of the coolant. [kg/m3]

    Returns
    -------
    Drop
        Without a linear part. [Pa s/m3, Pa s2/m6]

    Notes
    -----
    Definition of [1]_, with water of 1000 kg/m3. A stated Kv is good to about 10 %.

    Validity
    --------
    Turbulent flow in the part, valve Reynolds numbers above about 1e4. Outside, below, the drop
    is larger than this.

    References
    ----------
    .. [1] IEC 60534-1, Industrial-process control valves - Part 1: Control valve terminology
           and general considerations.
    """
    coefficient = np.asarray(flow_at_one_bar, dtype=np.float64)
    relative_density = np.asarray(density, dtype=np.float64) / _WATER_DENSITY
    quadratic = _ONE_BAR * relative_density / coefficient**2
    return Drop(np.zeros_like(quadratic), quadratic)


def _weights(points: NDArray[np.float64], drops: NDArray[np.float64]) -> NDArray[np.float64]:
    """One for absolute errors, the largest drop over the drop for relative errors."""
    flowing = points[points > 0.0]
    largest = drops.max()
    if flowing.max() <= WEIGHTED_SPAN * flowing.min() or largest <= _NO_DROP:
        return np.ones_like(drops)
    weights: NDArray[np.float64] = largest / np.maximum(drops, _SMALLEST_DROP * largest)
    return weights


def _non_negative(columns: NDArray[np.float64], target: NDArray[np.float64]) -> tuple[float, float]:
    """Two non-negative factors of two non-negative columns nearest to a non-negative target."""
    (first, mixed), (_, second) = columns @ columns.T
    left, right = columns @ target
    # Proportional columns, as from a single flow, have no second direction to fit.
    independence = first * second - mixed**2
    if independence > 1.0e-14 * first * second:
        linear = (left * second - right * mixed) / independence
        quadratic = (right * first - left * mixed) / independence
        if linear >= 0.0 and quadratic >= 0.0:
            return float(linear), float(quadratic)
        if left**2 * second > right**2 * first:
            return float(left / first), 0.0
    return 0.0, float(right / second)
