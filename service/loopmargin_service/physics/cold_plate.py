"""Thermal resistance of a cold plate against the flow of coolant through it.

From the surface that the heat enters to the coolant that enters the plate, so the warming of
the coolant inside is counted. SI throughout.
"""

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

REFERENCE_FLOW = 1e-3 / 60.0
"""Flow at which the factor of the law is the resistance above the least: 1 L/min. [m3/s]"""

EXPONENT_RANGE = (0.2, 1.0)
"""Exponents that a fit may take; 1 is pure warming of the coolant. [-]"""

EXPONENT_TYPICAL = 0.6
"""Exponent taken where two points cannot tell it; common practice, no source. [-]"""

FLOW_MIN = 1e-9
"""Slower flows are taken at this one, so that still coolant has a finite resistance. [m3/s]"""

_FLOWS_FOR_EXPONENT = 3
_GRID = 41
_REFINEMENTS = 5
# Flows so close together that constant and falling part cannot be told apart.
_INDISTINCT = 1e-12


class Fit(NamedTuple):
    """The law of one cold plate; the residual is the rms of the relative deviations."""

    minimum: float
    """Resistance at endless flow. [K/W]"""
    factor: float
    """Resistance above it at `REFERENCE_FLOW`. [K/W]"""
    exponent: float
    """Exponent of the flow. [-]"""
    residual: float
    """Root of the mean squared relative deviation. [-]"""


def resistance(
    minimum: ArrayLike, factor: ArrayLike, exponent: ArrayLike, flow: ArrayLike
) -> NDArray[np.float64]:
    """Resistance from the heated surface to the entering coolant.

    Parameters
    ----------
    minimum : array_like
        Resistance at endless flow. [K/W]
    factor : array_like
        Resistance above it at `REFERENCE_FLOW`, broadcast with *flow*. [K/W]
    exponent : array_like
        Exponent of the flow, broadcast with *flow*. [-]
    flow : array_like
        Volume flow of the coolant; its sign does not matter. [m3/s]

    Returns
    -------
    ndarray
        Thermal resistance. [K/W]

    Notes
    -----
    minimum + factor (flow / `REFERENCE_FLOW`)^-exponent. Physical exponents are 1/3 for
    developing laminar flow, 1/2 to 2/3 for jets, 0.8 for turbulence and 1 for the warming of
    the coolant; a fit lies between.

    Validity
    --------
    The flows of the measurement behind it. Outside, the power law goes on, and flows below
    `FLOW_MIN` count as that.
    """
    relative = np.maximum(np.abs(np.asarray(flow, dtype=np.float64)), FLOW_MIN) / REFERENCE_FLOW
    falling: NDArray[np.float64] = relative ** -np.asarray(exponent, dtype=np.float64)
    return np.asarray(minimum, dtype=np.float64) + np.asarray(factor) * falling


def fit_resistance(flow: ArrayLike, measured: ArrayLike) -> Fit:
    """Law through measured resistances.

    Parameters
    ----------
    flow : array_like
        Volume flows, one dimension, above zero. [m3/s]
    measured : array_like
        Resistances at these flows, above zero. [K/W]

    Returns
    -------
    Fit
        Minimum and factor, both at least zero, exponent within `EXPONENT_RANGE`, and the
        residual. [K/W, K/W, -, -]

    Notes
    -----
    Least squares of the relative deviations: for a given exponent the law is linear in
    minimum and factor, which are found with the limit at zero; the exponent is searched on a
    grid that is refined twice about the best. One flow gives a constant, two give
    `EXPONENT_TYPICAL`.

    Validity
    --------
    Positive flows and resistances. Outside `EXPONENT_RANGE` no exponent is sought, and the
    nearer end is taken.
    """
    relative = np.asarray(flow, dtype=np.float64) / REFERENCE_FLOW
    measured = np.asarray(measured, dtype=np.float64)
    distinct = len(np.unique(relative))
    if distinct == 1:
        constant = np.sum(1.0 / measured) / np.sum(measured**-2.0)
        deviation = constant / measured - 1.0
        return Fit(float(constant), 0.0, EXPONENT_TYPICAL, float(np.sqrt(np.mean(deviation**2))))
    if distinct < _FLOWS_FOR_EXPONENT:
        return _best_of(np.array([EXPONENT_TYPICAL]), relative, measured)[0]
    low, high = EXPONENT_RANGE
    for _ in range(_REFINEMENTS):
        grid = np.linspace(low, high, _GRID)
        fit, best = _best_of(grid, relative, measured)
        low, high = float(grid[max(best - 1, 0)]), float(grid[min(best + 1, _GRID - 1)])
    return fit


def _best_of(
    exponents: NDArray[np.float64], relative: NDArray[np.float64], measured: NDArray[np.float64]
) -> tuple[Fit, int]:
    """Best minimum and factor, neither below zero, at the best of some exponents."""
    constant = 1.0 / measured
    falling = relative ** -exponents[:, None] / measured
    square, mixed, other = constant @ constant, falling @ constant, (falling**2).sum(axis=1)
    flat, steep = constant.sum(), falling.sum(axis=1)
    determinant = square * other - mixed * mixed
    apart = determinant > _INDISTINCT * square * other
    divisor = np.where(apart, determinant, 1.0)
    minimum = (other * flat - mixed * steep) / divisor
    factor = np.where(apart, (square * steep - mixed * flat) / divisor, -1.0)
    factor = np.where(apart & (minimum < 0.0), steep / other, factor)
    minimum = np.where(factor < 0.0, flat / square, np.maximum(minimum, 0.0))
    factor = np.maximum(factor, 0.0)
    deviation = minimum[:, None] * constant + factor[:, None] * falling - 1.0
    residual = np.sqrt((deviation**2).mean(axis=1))
    best = int(residual.argmin())
    fit = Fit(*(float(part[best]) for part in (minimum, factor, exponents, residual)))
    return fit, best
