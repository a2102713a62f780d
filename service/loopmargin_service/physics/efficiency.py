"""Efficiency of a power supply between the points it is known at.

What is interpolated is the loss, as a fraction of the rating, because it is smooth and
nearly quadratic in the load where the efficiency is not: a constant part for control and
fans, a part in proportion for diodes and magnetics, and a square for resistance.
"""

from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from loopmargin_service.physics import monotone

TIER_LOADS: Final = {3: (0.2, 0.5, 1.0), 4: (0.1, 0.2, 0.5, 1.0)}
"""Loads that a tier is certified at, by the number of its points. [-]"""

# Least efficiencies at the loads above. Source and standing: see `tier_loss`.
TIERS_115_V: Final = {
    "base": (0.80, 0.80, 0.80),
    "bronze": (0.82, 0.85, 0.82),
    "silver": (0.85, 0.88, 0.85),
    "gold": (0.87, 0.90, 0.87),
    "platinum": (0.90, 0.92, 0.89),
    "titanium": (0.90, 0.92, 0.94, 0.90),
}
TIERS_230_V: Final = {
    "base": (0.82, 0.85, 0.82),
    "bronze": (0.85, 0.88, 0.85),
    "silver": (0.87, 0.90, 0.87),
    "gold": (0.90, 0.92, 0.89),
    "platinum": (0.92, 0.94, 0.90),
    "titanium": (0.90, 0.94, 0.96, 0.94),
}

LEAST_AT_LOW_LOAD = 0.60
"""Efficiency required of a supply at 2 % of its rating. [-]"""

_LOW_LOAD = 0.02
_CERTIFIED_FROM = 0.10


def loss_polynomial(efficiencies: ArrayLike) -> NDArray[np.float64]:
    """Coefficients of the loss through the certified points of a tier.

    Parameters
    ----------
    efficiencies : array_like, shape (3,) or (4,)
        Efficiency at 20, 50 and 100 % of the rating, or at 10, 20, 50 and 100 %. [-]

    Returns
    -------
    ndarray, shape (3,) or (4,)
        Coefficients of the powers of the load fraction, constant first. [-]

    Validity
    --------
    Three or four certified points. Outside, another count is refused with a `KeyError`.
    """
    least = np.asarray(efficiencies, dtype=np.float64)
    load = np.array(TIER_LOADS[least.size])
    return np.linalg.solve(np.vander(load, increasing=True), load / least - load)


def tier_loss(load_fraction: ArrayLike, efficiencies: ArrayLike) -> NDArray[np.float64]:
    """Largest loss of a supply of a certified tier, over its rating.

    Parameters
    ----------
    load_fraction : array_like
        Output over rated power, 0 to 1. [-]
    efficiencies : array_like, shape (3,) or (4,)
        Least efficiency of the tier at its certified loads. [-]

    Returns
    -------
    ndarray
        Loss over rated power. [-]

    Notes
    -----
    The quadratic (cubic with four points) through the certified points. Other ways to
    join them differ by up to 1.3 points of efficiency, and real supplies run 0 to 2 points
    better, so the result is good to about 1.5 points. Below 10 % load it is not worse
    than 60 %, which [2]_ requires at 2 %.

    The values for 115 V are those of [1]_ as public pages give them, except silver at full
    load: a page prints 87 %, which its neighbours contradict, and 85 % is from memory.
    The values for 230 V (the European internal set) are from memory.

    Validity
    --------
    Loads of 0.1 to 1. Outside, below, the loss is at most that of 60 % efficiency at the load
    or at 0.02 and never negative, and above the polynomial goes on.

    References
    ----------
    .. [1] Public 80-percent-efficiency programme for computer power supplies, test
           protocol and certification levels, 115 V internal, non-redundant.
    .. [2] Document 336521, ATX Version 3.0 Multi Rail Desktop Platform Power Supply Design
           Guide, revision 2.01, Feb. 2023, low-load efficiency.
    """
    load = np.asarray(load_fraction, dtype=np.float64)
    curve = np.polynomial.polynomial.polyval(load, loss_polynomial(efficiencies))
    floor = np.maximum(load, _LOW_LOAD) * (1.0 / LEAST_AT_LOW_LOAD - 1.0)
    # Equal efficiencies leave no constant part, and rounding may put that below zero.
    return np.where(load < _CERTIFIED_FROM, np.maximum(np.minimum(curve, floor), 0.0), curve)


def measured_loss(
    load_fraction: ArrayLike, known_load: ArrayLike, known_efficiency: ArrayLike
) -> NDArray[np.float64]:
    """Loss of a supply between measured points, over its rating.

    Parameters
    ----------
    load_fraction : array_like
        Output over rated power, 0 to 1. [-]
    known_load : array_like, shape (n,)
        Load fractions of the points, rising. [-]
    known_efficiency : array_like, shape (n,)
        Efficiency at each, above 0 and below 1. [-]

    Returns
    -------
    ndarray
        Loss over rated power. [-]

    Notes
    -----
    Monotone cubic pieces [1]_ through the losses. Below the first point the loss stays
    what it is there, which is on the safe side; above the last point the efficiency does.

    Validity
    --------
    Between the first and the last point. Outside, below, the loss is held, and above, the
    efficiency.

    References
    ----------
    .. [1] F. N. Fritsch and J. Butland, "A Method for Constructing Local Monotone Piecewise
           Cubic Interpolants," SIAM J. Sci. Stat. Comput., vol. 5, no. 2, pp. 300-304,
           1984. doi:10.1137/0905021
    """
    load = np.asarray(load_fraction, dtype=np.float64)
    known = np.asarray(known_load, dtype=np.float64)
    loss = known / np.asarray(known_efficiency, dtype=np.float64) - known
    beyond = np.maximum(load / known[-1], 1.0)
    if known.size == 1:
        return np.asarray(loss[0] * beyond)
    inside = monotone.interpolate(known, loss, np.clip(load, known[0], known[-1]))
    return np.asarray(inside * beyond)


def efficiency(load_fraction: ArrayLike, loss: ArrayLike) -> NDArray[np.float64]:
    """Efficiency from the loss.

    Parameters
    ----------
    load_fraction : array_like
        Output over rated power, zero or above. [-]
    loss : array_like
        Loss over rated power. [-]

    Returns
    -------
    ndarray
        Output over mains power. [-]

    Validity
    --------
    Everywhere that the loss is not negative; without load it is zero. Nothing is checked.
    """
    load = np.asarray(load_fraction, dtype=np.float64)
    taken = load + np.asarray(loss, dtype=np.float64)
    return np.asarray(load / np.where(load > 0.0, taken, 1.0))
