"""Copper wire by American gauge: diameter and resistance."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

RESISTIVITY = 1.7241e-8
"""Resistivity of annealed copper at 20 degC. [ohm m]"""

TEMPERATURE_COEFFICIENT = 0.00393
"""Rise of copper's resistance for each kelvin over 20 degC, over that at 20 degC. [1/K]"""

_REFERENCE_TEMPERATURE = 293.15


def diameter(gauge: ArrayLike) -> NDArray[np.float64]:
    """Diameter of a solid wire by its American gauge number.

    Parameters
    ----------
    gauge : array_like
        Gauge number; 0 for 1/0 and -3 for 4/0. [-]

    Returns
    -------
    ndarray
        Diameter of the bare conductor. [m]

    Notes
    -----
    A geometric series of 39 steps from 0.0050 inch at 36 to 0.4600 inch at 4/0 [1]_.

    Validity
    --------
    Gauges from 4/0 (-3) to 40. Outside, the series goes on.

    References
    ----------
    .. [1] ASTM B258-02, Standard Nominal Diameters and Cross-Sectional Areas of AWG Sizes
           of Solid Round Wires Used as Electrical Conductors.
    """
    return 0.127e-3 * 92.0 ** ((36.0 - np.asarray(gauge, dtype=np.float64)) / 39.0)


def resistance_per_length(gauge: ArrayLike, temperature: ArrayLike) -> NDArray[np.float64]:
    """Resistance of a copper wire for each metre.

    Parameters
    ----------
    gauge : array_like
        American gauge number. [-]
    temperature : array_like
        Temperature of the copper, broadcast with *gauge*. [K]

    Returns
    -------
    ndarray
        Resistance over length. [ohm/m]

    Notes
    -----
    Annealed copper of 58 MS/m at 20 degC with the temperature coefficient at constant mass
    [1]_; linear, good between about -20 and 150 degC. A solid wire; strands of the same
    gauge are 2 to 5 % higher (from memory), copper-clad aluminium much higher.

    Validity
    --------
    -20 to 150 degC, solid copper wire. Outside, the line goes on.

    References
    ----------
    .. [1] IEC 60028:1925, International standard of resistance for copper.
    """
    warming = np.asarray(temperature, dtype=np.float64) - _REFERENCE_TEMPERATURE
    area = 0.25 * np.pi * diameter(gauge) ** 2
    return RESISTIVITY * (1.0 + TEMPERATURE_COEFFICIENT * warming) / area
