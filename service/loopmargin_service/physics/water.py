"""Liquid water near atmospheric pressure, as printed by IAPWS.

The laws of the supplementary release for 0.1 MPa. Pressure up to 0.3 MPa changes none of
the four properties by more than 0.02 % and is left out. `coolant` evaluates the same
laws through interpolants that are made from this module once; here is the slow original.
"""

import numpy as np
from numpy.typing import NDArray

GAS_CONSTANT = 461.51805
"""Specific gas constant of water in the release. [J/(kg K)]"""

FREEZING_TEMPERATURE = 273.15
"""Melting of ice at atmospheric pressure. [K]"""

# [1] Table 1 in the order of rising powers; an exponent that the release leaves out is zero.
_VOLUME_HIGH = np.array(
    [6.74458446e3, -2.22521604e5, 0.0, 1.00231247e8, -1.63552118e9, 8.32299658e9]
)
_VOLUME_LOW = np.array(
    [5.78545292e-3, -1.53195665e-2, 3.11337859e-2, -4.23546241e-2, 3.38713507e-2, -1.19946761e-2]
)
_HEAT_HIGH = ((4, -1.661470539e5), (5, 2.708781640e6), (7, -1.557191544e8))
_HEAT_LOW = (
    (2, -8.237426256e-1),
    (3, 1.908956353),
    (4, -2.017597384),
    (5, 8.546361348e-1),
)


def density(temperature: NDArray[np.float64]) -> NDArray[np.float64]:
    """Density of liquid water at 0.1 MPa.

    Parameters
    ----------
    temperature : ndarray
        Temperature. [K]

    Returns
    -------
    ndarray
        Density. [kg/m3]

    Notes
    -----
    Reciprocal of the specific volume of [1]_.

    Validity
    --------
    253.15 K to 383.15 K. Outside nothing is checked; there is a pole at 232 K.

    References
    ----------
    .. [1] IAPWS SR6-08(2011), "Revised Supplementary Release on Properties of Liquid
           Water at 0.1 MPa," International Association for the Properties of Water and
           Steam, 2011.
    """
    high = 10.0 / (593.0 - temperature)
    low = 10.0 / (temperature - 232.0)
    volume: NDArray[np.float64] = 1.93763157e-2 + high**4 * np.polynomial.polynomial.polyval(
        high, _VOLUME_HIGH
    )
    volume += low * np.polynomial.polynomial.polyval(low, _VOLUME_LOW)
    return 1.0 / (GAS_CONSTANT * 10.0 / 1e5 * volume)


def heat_capacity(temperature: NDArray[np.float64]) -> NDArray[np.float64]:
    """Isobaric specific heat capacity of liquid water at 0.1 MPa.

    Parameters
    ----------
    temperature : ndarray
        Temperature. [K]

    Returns
    -------
    ndarray
        Specific heat capacity. [J/(kg K)]

    Notes
    -----
    The law of [1]_.

    Validity
    --------
    253.15 K to 383.15 K. Outside nothing is checked.

    References
    ----------
    .. [1] IAPWS SR6-08(2011), "Revised Supplementary Release on Properties of Liquid
           Water at 0.1 MPa," 2011.
    """
    high = 10.0 / (593.0 - temperature)
    low = 10.0 / (temperature - 232.0)
    curvature = np.zeros_like(temperature)
    for n, coefficient in _HEAT_HIGH:
        curvature += n * (n + 1) * coefficient * high ** (n + 2)
    for m, coefficient in _HEAT_LOW:
        curvature += m * (m + 1) * coefficient * low ** (m + 2)
    return -GAS_CONSTANT * (-8.983025854 + temperature / 10.0 * curvature)


def viscosity(temperature: NDArray[np.float64]) -> NDArray[np.float64]:
    """Dynamic viscosity of liquid water at 0.1 MPa.

    Parameters
    ----------
    temperature : ndarray
        Temperature. [K]

    Returns
    -------
    ndarray
        Dynamic viscosity. [Pa s]

    Notes
    -----
    Equation 7 of [1]_.

    Validity
    --------
    253.15 K to 383.15 K. Outside nothing is checked.

    References
    ----------
    .. [1] IAPWS SR6-08(2011), "Revised Supplementary Release on Properties of Liquid
           Water at 0.1 MPa," 2011.
    """
    reduced = temperature / 300.0
    return 1e-6 * (
        280.68 * reduced**-1.9
        + 511.45 * reduced**-7.7
        + 61.131 * reduced**-19.6
        + 0.45903 * reduced**-40.0
    )


def conductivity(temperature: NDArray[np.float64]) -> NDArray[np.float64]:
    """Thermal conductivity of liquid water at 0.1 MPa.

    Parameters
    ----------
    temperature : ndarray
        Temperature. [K]

    Returns
    -------
    ndarray
        Thermal conductivity. [W/(m K)]

    Notes
    -----
    Equation 8 of [1]_.

    Validity
    --------
    273.15 K to 383.15 K. Outside nothing is checked.

    References
    ----------
    .. [1] IAPWS SR6-08(2011), "Revised Supplementary Release on Properties of Liquid
           Water at 0.1 MPa," 2011.
    """
    reduced = temperature / 300.0
    return (
        1.6630 * reduced**-1.15
        - 1.7781 * reduced**-3.4
        + 1.1567 * reduced**-6.0
        - 0.432115 * reduced**-7.6
    )


def saturation_pressure(temperature: NDArray[np.float64]) -> NDArray[np.float64]:
    """Vapour pressure of water.

    Parameters
    ----------
    temperature : ndarray
        Temperature. [K]

    Returns
    -------
    ndarray
        Absolute pressure of saturated vapour. [Pa]

    Notes
    -----
    Equation 1 of [1]_, stated from the triple point, 273.16 K, to the critical point,
    647.096 K. Below it continues as the vapour pressure over undercooled liquid.

    Validity
    --------
    273.16 K, the triple point, to 647.096 K, the critical point. Outside, below, it goes on as
    the pressure over undercooled liquid.

    References
    ----------
    .. [1] IAPWS SR1-86(1992), "Revised Supplementary Release on Saturation Properties of
           Ordinary Water Substance," 1992; after W. Wagner and A. Pruss, J. Phys. Chem.
           Ref. Data, vol. 22, pp. 783-787, 1993. doi:10.1063/1.555926
    """
    below = np.maximum(1.0 - temperature / 647.096, 0.0)
    root = np.sqrt(below)
    exponent = below * (
        -7.85951783
        + 1.84408259 * root
        - 11.7866497 * below**2
        + 22.6807411 * below**2 * root
        - 15.9618719 * below**3
        + 1.80122502 * below**6 * root
    )
    return 22.064e6 * np.exp(647.096 / temperature * exponent)
