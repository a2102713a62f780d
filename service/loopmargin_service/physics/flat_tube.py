"""Heat transfer of a coolant inside a flat tube, laminar to turbulent.

The tube is taken as a rectangular duct with walls of one temperature. At the flows of a
computer's radiator it is laminar and still developing. Published laws for the pieces, joined
without jumps, so that more flow never transfers less heat. SI throughout.
"""

import numpy as np
from numpy.typing import ArrayLike, NDArray

LAMINAR_LIMIT = 2300.0
"""Reynolds number up to which the flow is laminar. [-]"""

TURBULENT_LIMIT = 4000.0
"""Reynolds number from which the flow is turbulent. [-]"""

PARALLEL_PLATES = 7.541
"""Developed laminar Nusselt number between plates of one temperature. [-]"""

# Shah and London, rectangular duct, walls of one temperature, in rising powers of the
# ratio of sides.
_SHORTER_SIDE = (1.0, -2.610, 4.970, -5.119, 2.702, -0.548)
# The two branches of the entrance law are joined between these reduced lengths.
_JOIN_START = 0.003
_JOIN_END = 0.01
_SMALLEST = 1e-6


def nusselt(
    reynolds: ArrayLike, prandtl: ArrayLike, slenderness: float, side_ratio: float
) -> NDArray[np.float64]:
    """Nusselt number of a flat tube, mean over its length, on the hydraulic diameter.

    Parameters
    ----------
    reynolds : array_like
        Reynolds number on the hydraulic diameter. [-]
    prandtl : array_like
        Prandtl number of the coolant, broadcast with *reynolds*. [-]
    slenderness : float
        Tube length over hydraulic diameter. [-]
    side_ratio : float
        Inside thickness over inside width, 0 to 1. [-]

    Returns
    -------
    ndarray
        Nusselt number. [-]

    Notes
    -----
    Laminar below a Reynolds number of 2300, `laminar_nusselt`; turbulent from 4000 by [1]_
    with its entrance term; a straight line in the Reynolds number between, after [2]_ (from
    memory).

    Validity
    --------
    Reynolds numbers to 1e6, Prandtl numbers of 0.5 to 2000. Outside nothing is checked.

    References
    ----------
    .. [1] V. Gnielinski, "New Equations for Heat and Mass Transfer in Turbulent Pipe and
           Channel Flow," Int. Chem. Eng., vol. 16, pp. 359-368, 1976.
    .. [2] V. Gnielinski, "On heat transfer in tubes," Int. J. Heat Mass Transfer, vol. 63,
           pp. 134-140, 2013. doi:10.1016/j.ijheatmasstransfer.2013.04.015
    """
    reynolds = np.asarray(reynolds, dtype=np.float64)
    prandtl = np.asarray(prandtl, dtype=np.float64)
    slow = np.clip(reynolds, _SMALLEST, LAMINAR_LIMIT)
    laminar = laminar_nusselt(slenderness / (slow * prandtl), side_ratio)
    if not np.any(reynolds > LAMINAR_LIMIT):
        return laminar
    turbulent = turbulent_nusselt(np.maximum(reynolds, TURBULENT_LIMIT), prandtl)
    turbulent *= 1.0 + slenderness ** (-2.0 / 3.0)
    share = np.clip((reynolds - LAMINAR_LIMIT) / (TURBULENT_LIMIT - LAMINAR_LIMIT), 0.0, 1.0)
    return laminar + share * (turbulent - laminar)


def laminar_nusselt(reduced_length: ArrayLike, side_ratio: float) -> NDArray[np.float64]:
    """Nusselt number of developing laminar flow, mean over the length.

    Parameters
    ----------
    reduced_length : array_like
        Tube length over hydraulic diameter, Reynolds and Prandtl number. [-]
    side_ratio : float
        Inside thickness over inside width, 0 to 1. [-]

    Returns
    -------
    ndarray
        Nusselt number. [-]

    Notes
    -----
    Parallel plates by [1]_, scaled to the rectangle by the ratio of developed values, whose
    polynomial is also of [1]_ (both from memory, developed value at constant flux compared
    with an independent library). The branches printed for below and above a reduced length
    of 0.006 stand 6 % apart there; here a power law joins them from 0.003 to 0.01, which is
    within 2 % of the eigenvalue series. The branch printed for below 0.0005, lower by 0.6,
    is left out: it would make a jump for flows that are turbulent in any radiator.

    Validity
    --------
    Reduced lengths from 0.0005. Outside, in shorter tubes, it errs high by up to 0.6.

    References
    ----------
    .. [1] R. K. Shah, A. L. London, "Laminar Flow Forced Convection in Ducts," Academic
           Press, New York, 1978.
    """
    length = np.asarray(reduced_length, dtype=np.float64)
    developed = developed_nusselt(side_ratio)
    entrance = _entrance(np.minimum(length, _JOIN_START))
    late = PARALLEL_PLATES + 0.0235 / np.maximum(length, _JOIN_END)
    ends = _entrance(np.array(_JOIN_START)), PARALLEL_PLATES + 0.0235 / _JOIN_END
    slope = np.log(ends[1] / ends[0]) / np.log(_JOIN_END / _JOIN_START)
    joined = ends[0] * (np.clip(length, _JOIN_START, _JOIN_END) / _JOIN_START) ** slope
    plates: NDArray[np.float64] = np.where(
        length < _JOIN_START, entrance, np.where(length > _JOIN_END, late, joined)
    )
    return plates * (developed / PARALLEL_PLATES)


def developed_nusselt(side_ratio: float) -> float:
    """Nusselt number of developed laminar flow in a rectangular duct of one wall temperature.

    Parameters
    ----------
    side_ratio : float
        Shorter over longer side, 0 to 1. [-]

    Returns
    -------
    float
        Nusselt number. [-]

    Notes
    -----
    Polynomial of [1]_, from memory; 7.541 between plates, 2.98 in a square.

    Validity
    --------
    Ratios of sides of 0 to 1. Outside nothing is checked.

    References
    ----------
    .. [1] R. K. Shah, A. L. London, "Laminar Flow Forced Convection in Ducts," Academic
           Press, New York, 1978.
    """
    return PARALLEL_PLATES * sum(c * side_ratio**i for i, c in enumerate(_SHORTER_SIDE))


def turbulent_nusselt(reynolds: ArrayLike, prandtl: ArrayLike) -> NDArray[np.float64]:
    """Nusselt number of developed turbulent flow in a smooth duct.

    Parameters
    ----------
    reynolds : array_like
        Reynolds number on the hydraulic diameter. [-]
    prandtl : array_like
        Prandtl number, broadcast with *reynolds*. [-]

    Returns
    -------
    ndarray
        Nusselt number. [-]

    Notes
    -----
    The law of [1]_ with the friction factor (0.79 ln Re - 1.64)^-2, stated for 3000 to
    5e6 and Prandtl numbers of 0.5 to 2000. Nothing is checked.

    Validity
    --------
    Reynolds numbers of 3000 to 5e6, Prandtl numbers of 0.5 to 2000. Outside nothing is checked.

    References
    ----------
    .. [1] V. Gnielinski, "New Equations for Heat and Mass Transfer in Turbulent Pipe and
           Channel Flow," Int. Chem. Eng., vol. 16, pp. 359-368, 1976.
    """
    reynolds = np.asarray(reynolds, dtype=np.float64)
    prandtl = np.asarray(prandtl, dtype=np.float64)
    friction = (0.79 * np.log(reynolds) - 1.64) ** -2 / 8.0
    resistance = 1.0 + 12.7 * np.sqrt(friction) * (prandtl ** (2.0 / 3.0) - 1.0)
    number: NDArray[np.float64] = friction * (reynolds - 1000.0) * prandtl / resistance
    return number


def _entrance(reduced_length: NDArray[np.float64]) -> NDArray[np.float64]:
    return 1.849 * np.maximum(reduced_length, _SMALLEST**2) ** (-1.0 / 3.0) + 0.6
