"""How fast the coolant must flow to carry trapped air with it."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from loopmargin_service.physics.constants import STANDARD_GRAVITY


def velocity_to_clear_pockets(bore: ArrayLike, angle: ArrayLike) -> NDArray[np.float64]:
    """Mean velocity that sweeps a standing air pocket down a tube.

    Parameters
    ----------
    bore : array_like
        Bore of the tube. [m]
    angle : array_like
        Fall of the tube below the horizontal, 0 to pi/2; broadcast with *bore*. [rad]

    Returns
    -------
    ndarray
        Velocity above which the pocket leaves. [m/s]

    Notes
    -----
    v = (0.825 + 0.25 sqrt(sin a)) sqrt(g d), an envelope of tests by [1]_ as printed in
    [2]_. The tests are of water mains: below a bore of 25 mm it is an extrapolation, and
    the authors warn that the time a pocket takes does not scale. Good to about 30 %.

    Validity
    --------
    Tests in bores of 25 mm and more, angles of 0 to 90 degrees. Outside, in narrower tube, it
    is an extrapolation, and nothing is checked.

    References
    ----------
    .. [1] P. E. Wisner, F. N. Mohsen and N. Kouwen, "Removal of air from water lines by
           hydraulic means," J. Hydraulics Division ASCE, vol. 101, no. 2, pp. 243-257, 1975.
    .. [2] R. L. Sanks, Pumping Station Design, Butterworth-Heinemann.
    """
    fall = np.sin(np.asarray(angle, dtype=np.float64))
    return (0.825 + 0.25 * np.sqrt(fall)) * np.sqrt(
        STANDARD_GRAVITY * np.asarray(bore, dtype=np.float64)
    )


def slug_rise_velocity(
    bore: ArrayLike, density: ArrayLike, viscosity: ArrayLike, surface_tension: ArrayLike
) -> NDArray[np.float64]:
    """Velocity at which a bubble that fills the bore rises in standing coolant.

    Parameters
    ----------
    bore : array_like
        Bore of the vertical tube. [m]
    density : array_like
        Density of the coolant; that of the air is neglected. [kg/m3]
    viscosity : array_like
        Dynamic viscosity of the coolant. [Pa s]
    surface_tension : array_like
        Surface tension of the coolant; all four broadcast together. [N/m]

    Returns
    -------
    ndarray
        Velocity of the bubble. [m/s]

    Notes
    -----
    The universal correlation of [1]_: Fr = U / sqrt(g d) = A / (1 + (R/B)^C)^G, where A, B
    and C are like functions of the Eotvos number rho g d^2 / sigma, G = -1.0295 / C, and R
    is rho sqrt(g d^3) / mu. The form and A, which nearly alone counts for R > 200, are
    printed in the abstract; the constants of B, C and G are from memory, and for Eotvos
    numbers above 14 they lead into the limit that is printed for R < 10 within 10 %. In
    tubes so narrow that the bubble stands still, below about 5 mm in water, the result is
    close to zero.

    Validity
    --------
    Eotvos numbers above about 4 and any viscosity. Outside, in narrower tube, where the bubble
    stands still, the result is close to zero.

    References
    ----------
    .. [1] F. Viana, R. Pardo, R. Yanez, J. L. Trallero and D. D. Joseph, "Universal
           correlation for the rise velocity of long gas bubbles in round pipes," J. Fluid
           Mech., vol. 494, pp. 379-398, 2003. doi:10.1017/S0022112003006165
    """
    d = np.asarray(bore, dtype=np.float64)
    rho = np.asarray(density, dtype=np.float64)
    eotvos = rho * STANDARD_GRAVITY * d**2 / np.asarray(surface_tension, dtype=np.float64)
    reynolds = rho * np.sqrt(STANDARD_GRAVITY * d**3) / np.asarray(viscosity, dtype=np.float64)
    level = 0.34 / (1.0 + 3805.0 / eotvos**3.06) ** 0.58
    knee = 31.08 * (1.0 + (29.868 / eotvos) ** 1.96) ** 0.49
    sharpness = 1.45 * (1.0 + (24.867 / eotvos) ** 9.93) ** 0.094
    bend = (1.0 + (knee / reynolds) ** sharpness) ** (1.0295 / sharpness)
    return level / bend * np.sqrt(STANDARD_GRAVITY * d)
