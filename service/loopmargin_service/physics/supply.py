"""A power supply at its place: derating by inlet and altitude, rating needed, mains current.

Each allowance is applied once: the excursion factor to the demand of its window, the margin
to the governing window, the derating to the rating. Altitude acts through the derating
alone, by lowering the temperature that the full rating holds up to.
"""

import numpy as np
from numpy.typing import ArrayLike, NDArray

ALTITUDE_WITHOUT_EFFECT = 900.0
"""Altitude up to which the inlet temperature of electronics need not be lowered. [m]"""

ALTITUDE_PER_KELVIN = 300.0
"""Altitude above that for each kelvin the inlet is to be lowered by. [m/K]"""


def demand(power: ArrayLike, factor: ArrayLike) -> NDArray[np.float64]:
    """Power that each load demands over each window.

    Parameters
    ----------
    power : array_like, shape (loads, ...)
        Sustained power of each load. [W]
    factor : array_like, shape (loads, windows)
        Excursion factor of each load over each window. [-]

    Returns
    -------
    ndarray, shape (loads, windows, ...)
        Power, to be added up over the loads. [W]

    Notes
    -----
    The sum over the loads has all peaks at once. That is no exaggeration: independent
    trains of short pulses meet many times in a second.

    Validity
    --------
    Everywhere; nothing is checked.
    """
    sustained, over = np.asarray(power, dtype=np.float64), np.asarray(factor, dtype=np.float64)
    return np.asarray(over.reshape(over.shape + (1,) * (sustained.ndim - 1)) * sustained[:, None])


def required_power(demanded: ArrayLike, allowance_factors: ArrayLike) -> NDArray[np.float64]:
    """Continuous power that each window asks of a supply.

    Parameters
    ----------
    demanded : array_like, shape (windows, ...)
        Demand over each window. [W]
    allowance_factors : array_like, shape (windows,)
        Power allowed over each window, over rated power. [-]

    Returns
    -------
    ndarray, shape (windows, ...)
        Power, of which the largest governs. [W]

    Validity
    --------
    Everywhere that allowances are positive; nothing is checked.
    """
    power = np.asarray(demanded, dtype=np.float64)
    factor = np.asarray(allowance_factors, dtype=np.float64)
    return np.asarray(power / factor.reshape(factor.shape + (1,) * (power.ndim - 1)))


def full_rating_temperature(
    rated_temperature: ArrayLike, altitude: ArrayLike
) -> NDArray[np.float64]:
    """Inlet temperature up to which a supply gives its full rating at an altitude.

    Parameters
    ----------
    rated_temperature : array_like
        The same at sea level. [K]
    altitude : array_like
        Height above sea level. [m]

    Returns
    -------
    ndarray
        Inlet temperature. [K]

    Notes
    -----
    One kelvin for each 300 m above 900 m, as allowed inlet temperatures of data centres
    are lowered [1]_ (from memory). Insulation clearances are certified to an altitude of
    their own, 2000 or 5000 m as a rule, which no derating replaces.

    Validity
    --------
    900 m to 3050 m. Outside, below 900 m nothing is taken off, above the line goes on.

    References
    ----------
    .. [1] ASHRAE TC 9.9, Thermal Guidelines for Data Processing Environments, classes A1
           and A2.
    """
    above = np.maximum(np.asarray(altitude, dtype=np.float64) - ALTITUDE_WITHOUT_EFFECT, 0.0)
    return np.asarray(np.asarray(rated_temperature, dtype=np.float64) - above / ALTITUDE_PER_KELVIN)


def derate_factor(
    inlet: ArrayLike, full_rating_up_to: ArrayLike, derate_per_kelvin: ArrayLike
) -> NDArray[np.float64]:
    """Share of the rating that a supply may give at its inlet temperature.

    Parameters
    ----------
    inlet : array_like
        Temperature of the air that enters the supply. [K]
    full_rating_up_to : array_like
        Inlet temperature up to which the full rating holds. [K]
    derate_per_kelvin : array_like
        Share of the rating lost for each kelvin above that. [1/K]

    Returns
    -------
    ndarray
        Share, from 1 down to 0. [-]

    Notes
    -----
    A straight line; slopes of 0.02 to 0.025 1/K are common practice, without a source.

    Validity
    --------
    From the full rating down. Outside, the factor is held at 1 below and at 0 above.
    """
    above = np.asarray(inlet, dtype=np.float64) - np.asarray(full_rating_up_to, dtype=np.float64)
    lost = np.asarray(derate_per_kelvin, dtype=np.float64) * above
    return np.asarray(np.clip(1.0 - lost, 0.0, 1.0))


def mains_current(
    power: ArrayLike, voltage: ArrayLike, power_factor: ArrayLike
) -> NDArray[np.float64]:
    """RMS current of an alternating-current load.

    Parameters
    ----------
    power : array_like
        Real power. [W]
    voltage : array_like
        RMS voltage, above zero. [V]
    power_factor : array_like
        Real over apparent power, above zero. [-]

    Returns
    -------
    ndarray
        Current. [A]

    Validity
    --------
    Everywhere that voltage and power factor are positive; nothing is checked.
    """
    apparent = np.asarray(power, dtype=np.float64) / np.asarray(power_factor, dtype=np.float64)
    return np.asarray(apparent / np.asarray(voltage, dtype=np.float64))
