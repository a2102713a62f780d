"""Suction head: what keeps the coolant from boiling at the inlet of a pump."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from loopmargin_service.physics.constants import STANDARD_GRAVITY


def available_suction_head(
    surface_pressure: ArrayLike,
    vapour_pressure: ArrayLike,
    density: ArrayLike,
    level: ArrayLike,
    loss: ArrayLike,
) -> NDArray[np.float64]:
    """Net positive suction head that the loop offers to the pump, NPSHA.

    Parameters
    ----------
    surface_pressure : array_like
        Absolute pressure on the surface of the coolant in the reservoir. [Pa]
    vapour_pressure : array_like
        Vapour pressure of the coolant at the inlet. [Pa]
    density : array_like
        Density of the coolant. [kg/m3]
    level : array_like
        Height of the surface above the inlet, below zero if the pump stands higher. [m]
    loss : array_like
        Head lost between reservoir and inlet; all five broadcast together. [m]

    Returns
    -------
    ndarray
        Absolute head above boiling at the inlet; negative where the coolant boils. [m]

    Notes
    -----
    (p - p_v) / (rho g) + z - h, the definition of NPSHA in [1]_ with the velocity head at
    the inlet counted as available, as that standard does. To be compared with the suction
    head that the pump requires at its flow. Dissolved air comes out well before boiling.

    Validity
    --------
    Liquid without much dissolved air. Outside, air comes out well before boiling.

    References
    ----------
    .. [1] ISO 17769-1:2012, Liquid pumps and installation - General terms, definitions,
           quantities, letter symbols and units - Part 1: Liquid pumps.
    """
    above_boiling = np.asarray(surface_pressure, dtype=np.float64) - np.asarray(
        vapour_pressure, dtype=np.float64
    )
    head = above_boiling / (np.asarray(density, dtype=np.float64) * STANDARD_GRAVITY)
    return head + np.asarray(level, dtype=np.float64) - np.asarray(loss, dtype=np.float64)
