"""Friction of the flow in a round, straight, full pipe.

One smooth law for every Reynolds number: a solver that meets a jump between laminar and
turbulent flow may never settle.
"""

import numpy as np
from numpy.typing import ArrayLike, NDArray

LAMINAR_LIMIT = 2000.0
"""Reynolds number below which the flow is laminar. [-]"""

TURBULENT_LIMIT = 4000.0
"""Reynolds number above which the flow is turbulent; between the two it is transitional. [-]"""

# What the constants of [1] come to once both A and B are multiplied by (Re / 2.457)^16.
_TRANSITION = (37530.0 / 2.457) ** 16
_TURBULENT = (8.0**8 * 2.457**16) ** -1.5
# Where the argument of the logarithm nears one, Re is 7, and turbulence adds less than 1e-80.
_LOGARITHM_MAX = -1e-3


def friction_factor(
    reynolds: ArrayLike, relative_roughness: ArrayLike = 0.0
) -> NDArray[np.float64]:
    """Darcy friction factor of developed flow in a round pipe, laminar to fully rough.

    Parameters
    ----------
    reynolds : array_like
        Reynolds number on the bore, above zero. [-]
    relative_roughness : array_like
        Height of the wall roughness over the bore, broadcast with *reynolds*. [-]

    Returns
    -------
    ndarray
        Friction factor on half rho v squared, four times Fanning's. [-]

    See Also
    --------
    friction_factor_and_exponent : the same law with its slope, and where it holds.

    Validity
    --------
    As `friction_factor_and_exponent`, inside and outside.
    """
    return friction_factor_and_exponent(reynolds, relative_roughness)[0]


def friction_factor_and_exponent(
    reynolds: ArrayLike, relative_roughness: ArrayLike = 0.0
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Darcy friction factor and the power of the Reynolds number that it goes with.

    Parameters
    ----------
    reynolds : array_like
        Reynolds number on the bore, above zero. [-]
    relative_roughness : array_like
        Height of the wall roughness over the bore, broadcast with *reynolds*. [-]

    Returns
    -------
    factor : ndarray
        Friction factor on half rho v squared, four times Fanning's. [-]
    exponent : ndarray
        Derivative of its logarithm by that of the Reynolds number: -1 in laminar flow. [-]

    Notes
    -----
    The law of [1]_ in the form for the Darcy factor,

        f = 8 ((8/Re)^12 + (A + B)^-1.5)^(1/12),
        A = (-2.457 ln((7/Re)^0.9 + 0.27 e/D))^16,    B = (37530/Re)^16,

    coded as f = 64/Re (1 + g)^(1/12), where g is (Re/8)^12 (A + B)^-1.5 with A and B
    multiplied by (Re/2.457)^16: so no power overflows for 1e-6 <= Re <= 1e10, the range checked.
    Stated for all Re and e/D up to 0.05. It is 64/Re in laminar flow and within 3.1 % of
    Colebrook's law for 4e3 <= Re <= 1e8, e/D <= 0.01. Between `LAMINAR_LIMIT` and
    `TURBULENT_LIMIT` it is uncertain by 30 %, and lies 50 % above measurements [2]_ where
    the flow happens to stay laminar. f Re^2, and with it the pressure drop over flow,
    rises everywhere.

    Validity
    --------
    All Reynolds numbers, roughness over bore up to 0.05. Outside nothing is checked.

    References
    ----------
    .. [1] S. W. Churchill, "Friction-factor equation spans all fluid-flow regimes," Chemical
           Engineering, vol. 84, no. 24, pp. 91-92, 1977.
    .. [2] B. J. McKeon, C. J. Swanson, M. V. Zagarola, R. J. Donnelly and A. J. Smits,
           "Friction factors for smooth pipe flow," J. Fluid Mech., vol. 511, pp. 41-44,
           2004. doi:10.1017/S0022112004009796
    """
    re = np.asarray(reynolds, dtype=np.float64)
    inverse = 7.0 / re
    viscous = inverse**0.9
    wall = viscous + 0.27 * np.asarray(relative_roughness, dtype=np.float64)
    logarithm = np.minimum(np.log(wall), _LOGARITHM_MAX)
    # A times (Re / 2.457)^16; no power function, which takes as long as ten products.
    rough = re * logarithm
    rough = rough * rough
    rough = rough * rough
    rough = rough * rough
    rough = rough * rough
    both = rough + _TRANSITION
    re_2 = re * re
    re_4 = re_2 * re_2
    re_8 = re_4 * re_4
    share = re_8 * re_8 * re_8 / both
    turbulent = _TURBULENT * share * np.sqrt(share)
    beyond = turbulent + 1.0
    factor = (64.0 / 7.0) * inverse * beyond ** (1.0 / 12.0)
    steepening = (1.8 * viscous / (wall * logarithm) - 2.0) * (rough / both) + 3.0
    return factor, steepening * (turbulent / beyond) - 1.0
