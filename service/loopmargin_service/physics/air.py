"""Dry air, its pressure with altitude, and the dew point.

Only the density depends on pressure here. Humidity is left out of the properties: at
35 degC and 80 % it lowers the density by 1.7 % and raises the heat capacity by 2.5 %, which
nearly cancel in the capacity rate. SI throughout.
"""

import numpy as np
from numpy.typing import ArrayLike, NDArray

GAS_CONSTANT = 287.055
"""Specific gas constant of dry air. [J/(kg K)]"""

HEAT_CAPACITY = 1006.5
"""Isobaric specific heat capacity, within 0.3 % from 253 K to 353 K. [J/(kg K)]"""

STANDARD_PRESSURE = 101325.0
"""Pressure at sea level of the standard atmosphere. [Pa]"""

TEMPERATURE_RANGE = (253.15, 353.15)
"""Range that viscosity and conductivity were fitted over. [K]"""

ALTITUDE_RANGE = (-1000.0, 11000.0)
"""Lowest layer of the standard atmosphere, where the pressure law holds. [m]"""

# Coefficients in rising powers of the temperature in degrees Celsius.
_VISCOSITY = (1.721756e-5, 5.004618e-8, -3.346787e-11)
_CONDUCTIVITY = (2.435951e-2, 7.647815e-5, -3.978334e-8)
_MAGNUS_SLOPE = 17.62
_MAGNUS_OFFSET = 243.12
_DRIEST = 0.01


def standard_pressure(altitude: ArrayLike) -> NDArray[np.float64]:
    """Pressure of the standard atmosphere.

    Parameters
    ----------
    altitude : array_like
        Geopotential altitude above sea level. [m]

    Returns
    -------
    ndarray
        Pressure. [Pa]

    Notes
    -----
    Law of the lowest layer, -1 km to 11 km, of [1]_, equal there to ICAO Doc 7488 and the US
    Standard Atmosphere 1976. Combine it with the temperature of the room, never with that
    of the standard atmosphere.

    Validity
    --------
    -1 km to 11 km, the lowest layer. Outside: above 11 km the value there is held, below -1 km
    the law goes on.

    References
    ----------
    .. [1] ISO 2533:1975, "Standard Atmosphere."
    """
    held = np.minimum(np.asarray(altitude, dtype=np.float64), ALTITUDE_RANGE[1])
    exponent = 9.80665 * 0.0289644 / (8.31432 * 0.0065)
    ratio: NDArray[np.float64] = (288.15 - 0.0065 * held) / 288.15
    return STANDARD_PRESSURE * ratio**exponent


def density(pressure: ArrayLike, temperature: ArrayLike) -> NDArray[np.float64]:
    """Density of dry air as an ideal gas.

    Parameters
    ----------
    pressure : array_like
        Pressure. [Pa]
    temperature : array_like
        Temperature, broadcast with *pressure*. [K]

    Returns
    -------
    ndarray
        Density. [kg/m3]

    Notes
    -----
    p / (R T), compared with [1]_.

    Validity
    --------
    253 K to 353 K near atmospheric pressure, within 0.1 %. Outside, the law of the ideal gas
    goes on.

    References
    ----------
    .. [1] E. W. Lemmon, R. T Jacobsen, S. G. Penoncello, D. G. Friend, "Thermodynamic
           Properties of Air and Mixtures of Nitrogen, Argon, and Oxygen," J. Phys. Chem. Ref.
           Data, vol. 29, pp. 331-385, 2000. doi:10.1063/1.1285884
    """
    return np.asarray(pressure, dtype=np.float64) / (GAS_CONSTANT * np.asarray(temperature))


def viscosity(temperature: ArrayLike) -> NDArray[np.float64]:
    """Dynamic viscosity of dry air.

    Parameters
    ----------
    temperature : array_like
        Temperature. [K]

    Returns
    -------
    ndarray
        Dynamic viscosity. [Pa s]

    Notes
    -----
    Quadratic fitted to [1]_ from 253 K to 353 K, within 0.02 %; outside the parabola
    continues.

    Validity
    --------
    253 K to 353 K, within 0.02 %. Outside, the parabola goes on.

    References
    ----------
    .. [1] E. W. Lemmon, R. T Jacobsen, "Viscosity and Thermal Conductivity Equations for
           Nitrogen, Oxygen, Argon, and Air," Int. J. Thermophys., vol. 25, pp. 21-69, 2004.
           doi:10.1023/B:IJOT.0000022327.04529.f3
    """
    return _quadratic(_VISCOSITY, temperature)


def conductivity(temperature: ArrayLike) -> NDArray[np.float64]:
    """Thermal conductivity of dry air.

    Parameters
    ----------
    temperature : array_like
        Temperature. [K]

    Returns
    -------
    ndarray
        Thermal conductivity. [W/(m K)]

    Notes
    -----
    Quadratic fitted to [1]_ from 253 K to 353 K, within 0.02 %; outside the parabola
    continues.

    Validity
    --------
    253 K to 353 K, within 0.02 %. Outside, the parabola goes on.

    References
    ----------
    .. [1] E. W. Lemmon, R. T Jacobsen, "Viscosity and Thermal Conductivity Equations for
           Nitrogen, Oxygen, Argon, and Air," Int. J. Thermophys., vol. 25, pp. 21-69, 2004.
           doi:10.1023/B:IJOT.0000022327.04529.f3
    """
    return _quadratic(_CONDUCTIVITY, temperature)


def dew_point(temperature: ArrayLike, relative_humidity: ArrayLike) -> NDArray[np.float64]:
    """Temperature at which the moisture of the air begins to settle.

    Parameters
    ----------
    temperature : array_like
        Temperature of the air. [K]
    relative_humidity : array_like
        Relative humidity, 0 to 1, broadcast with *temperature*. [-]

    Returns
    -------
    ndarray
        Dew point over liquid water. [K]

    Notes
    -----
    Magnus form with the constants of [1]_, stated for 228 K to 333 K; from 273 K to 323 K it is
    within 0.05 K of the psychrometric tables of ASHRAE.

    Validity
    --------
    228 K to 333 K. Outside, the form goes on. A humidity below 0.01 counts as 0.01.

    References
    ----------
    .. [1] WMO-No. 8, "Guide to Meteorological Instruments and Methods of Observation,"
           Annex 4.B, World Meteorological Organization.
    """
    celsius = np.asarray(temperature, dtype=np.float64) - 273.15
    humidity = np.maximum(np.asarray(relative_humidity, dtype=np.float64), _DRIEST)
    logarithm = np.log(humidity) + _MAGNUS_SLOPE * celsius / (_MAGNUS_OFFSET + celsius)
    return 273.15 + _MAGNUS_OFFSET * logarithm / (_MAGNUS_SLOPE - logarithm)


def _quadratic(
    coefficients: tuple[float, float, float], temperature: ArrayLike
) -> NDArray[np.float64]:
    celsius: NDArray[np.float64] = np.asarray(temperature, dtype=np.float64) - 273.15
    constant, slope, curvature = coefficients
    return constant + celsius * (slope + celsius * curvature)
