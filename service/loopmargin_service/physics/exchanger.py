"""Effectiveness of heat exchangers, and the conductance a radiator is known by.

A radiator core is a crossflow exchanger with both streams unmixed: the fins divide the
air, and the laminar coolant in flat tubes does not mix across. The other arrangements are
here to say how much that choice is worth.

Conductance means heat flow over the difference of the two entering temperatures, G in W/K,
unless another basis is named. It is below both capacity rates, always. SI throughout.
"""

from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from loopmargin_service.physics import crossflow

Basis = Literal["coolant_inlet", "coolant_mean", "coolant_outlet"]

NTU_MAX = 30.0
"""Largest number of transfer units that an effectiveness is inverted to. [-]"""

_SMALLEST = 1e-150
_SMALLEST_CAPACITY = 1e-9
_NEWTON_STEPS = 60
_NEWTON_SETTLED = 1e-14


def effectiveness_crossflow_unmixed(
    ntu: ArrayLike, capacity_ratio: ArrayLike
) -> NDArray[np.float64]:
    """Effectiveness of a crossflow exchanger with both streams unmixed, exact.

    Parameters
    ----------
    ntu : array_like
        Number of transfer units, UA over the smaller capacity rate. [-]
    capacity_ratio : array_like
        Smaller over larger capacity rate, broadcast with *ntu*. [-]

    Returns
    -------
    ndarray
        Effectiveness. [-]

    Notes
    -----
    The solution of [1]_ as a series over Poisson tails: with T(n, x) the chance that a
    Poisson count of mean x exceeds n, effectiveness = sum over n of T(n, NTU) T(n, C NTU) /
    (C NTU). Its terms vanish beyond C NTU, the transfer units of the stronger stream, so a
    stream that stands nearly still costs nothing. C NTU is held at 50 by lowering both,
    which errs low, by at most 0.08 at a ratio of 1 and nothing at a small one.

    Validity
    --------
    Capacity ratios of 0 to 1 and C NTU up to 50. Outside, C NTU is held at 50.

    References
    ----------
    .. [1] J. L. Mason, "Heat Transfer in Crossflow," Proc. 2nd US Nat. Congress of Applied
           Mechanics, pp. 801-803, 1955; in the form of B. S. Baclic, "A Simplified Formula
           for Cross-Flow Heat Exchanger Effectiveness," J. Heat Transfer, vol. 100, no. 4,
           pp. 746-747, 1978. doi:10.1115/1.3450895
    """
    weak, strong = _transfer_units(ntu, capacity_ratio)
    return crossflow.effectiveness(weak, strong)


def effectiveness_counterflow(ntu: ArrayLike, capacity_ratio: ArrayLike) -> NDArray[np.float64]:
    """Effectiveness in counterflow, the best of all arrangements.

    Parameters
    ----------
    ntu : array_like
        Number of transfer units, UA over the smaller capacity rate. [-]
    capacity_ratio : array_like
        Smaller over larger capacity rate, broadcast with *ntu*. [-]

    Returns
    -------
    ndarray
        Effectiveness. [-]

    Notes
    -----
    Equation 11.29 of [1]_ (equation number from memory); at equal capacity rates its limit
    NTU / (1 + NTU).

    Validity
    --------
    Capacity ratios of 0 to 1. Outside nothing is checked.

    References
    ----------
    .. [1] F. P. Incropera, D. P. DeWitt, T. L. Bergman, A. S. Lavine, "Fundamentals of Heat and
           Mass Transfer," 6th ed., Wiley, 2007, table 11.3.
    """
    ntu = np.asarray(ntu, dtype=np.float64)
    # The formula is 0/0 at a ratio of 1; this close to it the limit is good to 1e-7.
    ratio = np.minimum(np.asarray(capacity_ratio, dtype=np.float64), 1.0 - 1e-8)
    decay: NDArray[np.float64] = -np.expm1(-ntu * (1.0 - ratio))
    return decay / (1.0 - ratio + ratio * decay)


def effectiveness_cmax_mixed(ntu: ArrayLike, capacity_ratio: ArrayLike) -> NDArray[np.float64]:
    """Effectiveness in crossflow with the stronger stream mixed, the weaker unmixed.

    Parameters
    ----------
    ntu : array_like
        Number of transfer units, UA over the smaller capacity rate. [-]
    capacity_ratio : array_like
        Smaller over larger capacity rate, broadcast with *ntu*. [-]

    Returns
    -------
    ndarray
        Effectiveness. [-]

    Notes
    -----
    Table 11.3 of [1]_. Below the both-unmixed value, by 13 % at NTU 4 and a ratio of 1.

    Validity
    --------
    Capacity ratios above 0, to 1. Outside nothing is checked.

    References
    ----------
    .. [1] F. P. Incropera, D. P. DeWitt, T. L. Bergman, A. S. Lavine, "Fundamentals of Heat and
           Mass Transfer," 6th ed., Wiley, 2007, table 11.3.
    """
    ratio = np.maximum(np.asarray(capacity_ratio, dtype=np.float64), _SMALLEST)
    alone = -np.expm1(-np.asarray(ntu, dtype=np.float64))
    effectiveness: NDArray[np.float64] = -np.expm1(-ratio * alone) / ratio
    return effectiveness


def effectiveness_cmin_mixed(ntu: ArrayLike, capacity_ratio: ArrayLike) -> NDArray[np.float64]:
    """Effectiveness in crossflow with the weaker stream mixed, the stronger unmixed.

    Parameters
    ----------
    ntu : array_like
        Number of transfer units, UA over the smaller capacity rate. [-]
    capacity_ratio : array_like
        Smaller over larger capacity rate, broadcast with *ntu*. [-]

    Returns
    -------
    ndarray
        Effectiveness. [-]

    Notes
    -----
    Table 11.3 of [1]_.

    Validity
    --------
    Capacity ratios above 0, to 1. Outside nothing is checked.

    References
    ----------
    .. [1] F. P. Incropera, D. P. DeWitt, T. L. Bergman, A. S. Lavine, "Fundamentals of Heat and
           Mass Transfer," 6th ed., Wiley, 2007, table 11.3.
    """
    ratio = np.maximum(np.asarray(capacity_ratio, dtype=np.float64), _SMALLEST)
    alone = -np.expm1(-ratio * np.asarray(ntu, dtype=np.float64))
    effectiveness: NDArray[np.float64] = -np.expm1(-alone / ratio)
    return effectiveness


def ntu_crossflow_unmixed(
    effectiveness: ArrayLike, capacity_ratio: ArrayLike
) -> NDArray[np.float64]:
    """Transfer units that give an effectiveness, both streams unmixed.

    Parameters
    ----------
    effectiveness : array_like
        Effectiveness, 0 to 1. [-]
    capacity_ratio : array_like
        Smaller over larger capacity rate, broadcast with *effectiveness*. [-]

    Returns
    -------
    ndarray
        Number of transfer units, 0 to `NTU_MAX`. [-]

    Notes
    -----
    Newton's method from the solution for a ratio of zero, which lies below every other.
    The effectiveness rises and bends down, so each step ends between there and the root.

    Validity
    --------
    Effectiveness within reach of `NTU_MAX`. Outside, the result is `NTU_MAX`.
    """
    wanted, ratio = np.broadcast_arrays(
        np.asarray(effectiveness, dtype=np.float64), np.asarray(capacity_ratio, dtype=np.float64)
    )
    lowest = -np.log1p(-np.clip(wanted, 0.0, -np.expm1(-NTU_MAX)))
    ntu: NDArray[np.float64] = np.minimum(lowest, NTU_MAX)
    settled = np.zeros(ntu.shape, dtype=np.bool_)
    for _ in range(_NEWTON_STEPS):
        reached, slope = _effectiveness_and_slope(ntu, ratio)
        step = np.where(wanted > reached, wanted - reached, 0.0) / np.maximum(slope, _SMALLEST)
        ahead = np.minimum(ntu + np.minimum(step, NTU_MAX), NTU_MAX)
        ntu = np.where(settled, ntu, ahead)
        settled |= (step <= _NEWTON_SETTLED * ntu) | (ntu == NTU_MAX)
        if np.all(settled):
            break
    return ntu


def inlet_conductance(
    ua: ArrayLike, air_capacity: ArrayLike, liquid_capacity: ArrayLike, passes: int = 1
) -> NDArray[np.float64]:
    """Heat flow of a radiator over the difference of its entering temperatures.

    Parameters
    ----------
    ua : array_like
        Conductance between the mean streams, UA. [W/K]
    air_capacity : array_like
        Capacity rate of all the air, broadcast with *ua*. [W/K]
    liquid_capacity : array_like
        Capacity rate of the coolant, broadcast with *ua*. [W/K]
    passes : int
        1 for a single pass; 2 for a U flow, out through one half of the tubes and back
        through the other, side by side in the same face. [-]

    Returns
    -------
    ndarray
        Conductance on the two entering temperatures. [W/K]

    Notes
    -----
    Below both capacity rates always, and zero when either stream stands still. The U flow
    is two exchangers in series on the coolant, each with half of UA and half of the air.

    Validity
    --------
    Everywhere from standing streams on; one or two passes.
    """
    air = np.maximum(np.asarray(air_capacity, dtype=np.float64), _SMALLEST_CAPACITY) / passes
    liquid = np.maximum(np.asarray(liquid_capacity, dtype=np.float64), _SMALLEST_CAPACITY)
    weaker = np.minimum(air, liquid)
    ntu = np.asarray(ua, dtype=np.float64) / passes / weaker
    one = weaker * effectiveness_crossflow_unmixed(ntu, weaker / np.maximum(air, liquid))
    if passes == 1:
        return one
    return one * (2.0 - one / liquid)


def series_conductance(conductances: ArrayLike, liquid_capacity: ArrayLike) -> NDArray[np.float64]:
    """Conductance of radiators in series on the coolant, each with fresh air.

    Parameters
    ----------
    conductances : array_like
        Conductances on entering temperatures, the radiators along the first axis. [W/K]
    liquid_capacity : array_like
        Capacity rate of the coolant, broadcast with one radiator. [W/K]

    Returns
    -------
    ndarray
        Conductance of all on the temperatures entering the first. [W/K]

    Notes
    -----
    Each radiator leaves the share 1 - G/C of the difference; the shares multiply. Holds
    for air of one temperature before all of them.

    Validity
    --------
    Everywhere that no conductance is above the coolant's capacity rate; nothing is checked.
    """
    liquid = np.maximum(np.asarray(liquid_capacity, dtype=np.float64), _SMALLEST_CAPACITY)
    left: NDArray[np.float64] = np.prod(
        1.0 - np.asarray(conductances, dtype=np.float64) / liquid, axis=0
    )
    return liquid * (1.0 - left)


def rating_to_inlet_basis(
    conductance: ArrayLike, basis: Basis, liquid_capacity: ArrayLike
) -> NDArray[np.float64]:
    """Bring a rated conductance to the temperature of the entering coolant.

    Parameters
    ----------
    conductance : array_like
        Heat over (coolant temperature - entering air temperature). [W/K]
    basis : {"coolant_inlet", "coolant_mean", "coolant_outlet"}
        Which coolant temperature that was; the mean is of inlet and outlet. [-]
    liquid_capacity : array_like
        Capacity rate of the coolant at rating, broadcast with *conductance*. [W/K]

    Returns
    -------
    ndarray
        Conductance on the two entering temperatures. [W/K]

    Notes
    -----
    Exact: the coolant falls by q/C, so 1/G grows by 1/(2C) from the mean and by 1/C from the
    outlet.

    Validity
    --------
    Everywhere that flow and conductance are positive; nothing is checked.
    """
    span = {"coolant_inlet": 0.0, "coolant_mean": 0.5, "coolant_outlet": 1.0}[basis]
    conductance = np.asarray(conductance, dtype=np.float64)
    inverse = 1.0 / conductance + span / np.asarray(liquid_capacity, dtype=np.float64)
    return 1.0 / inverse


def _transfer_units(
    ntu: ArrayLike, capacity_ratio: ArrayLike
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Transfer units on the weaker stream, and on the stronger, which are above zero."""
    ratio = np.maximum(np.asarray(capacity_ratio, dtype=np.float64), _SMALLEST)
    weak = np.minimum(np.asarray(ntu, dtype=np.float64), crossflow.MEAN_MAX / ratio)
    return weak, np.maximum(ratio * weak, _SMALLEST)


def _effectiveness_and_slope(
    ntu: NDArray[np.float64], capacity_ratio: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Effectiveness and its derivative by the transfer units."""
    weak, strong = _transfer_units(np.maximum(ntu, _SMALLEST), capacity_ratio)
    return crossflow.effectiveness_and_rise(weak, strong)
