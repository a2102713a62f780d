"""Pressure loss of grilles, perforated plates and screens in the path of the air.

Loss coefficients on half rho v squared of the velocity before the screen, over the whole
area. Uncertain by 20 % when clean; dust multiplies them. SI throughout.
"""

import numpy as np
from numpy.typing import ArrayLike, NDArray

# Open area fraction and loss coefficient of square edges; the fully open end, 0, is implied.
_OPEN, _LOSS = np.array(
    [
        (0.05, 1000.0),
        (0.1, 250.0),
        (0.15, 85.0),
        (0.2, 52.0),
        (0.25, 30.0),
        (0.3, 17.0),
        (0.35, 11.0),
        (0.4, 7.7),
        (0.45, 5.5),
        (0.5, 3.8),
        (0.55, 2.8),
        (0.6, 2.0),
        (0.65, 1.5),
        (0.7, 1.1),
        (0.75, 0.78),
        (0.8, 0.53),
        (0.85, 0.35),
        (0.9, 0.08),
    ]
).T

# Reynolds number and drag of round wires.
_REYNOLDS, _DRAG = np.array(
    [
        (20.0, 1.3),
        (30.0, 1.1),
        (40.0, 0.95),
        (60.0, 0.83),
        (80.0, 0.75),
        (100.0, 0.7),
        (200.0, 0.6),
        (400.0, 0.52),
    ]
).T

FREE_AREA_RANGE = (0.05, 1.0)
"""Free-area fractions that the tables hold. [-]"""

REYNOLDS_RANGE = (20.0, 400.0)
"""Reynolds numbers that the table of round wires holds. [-]"""


def perforated_plate(free_area_fraction: ArrayLike) -> NDArray[np.float64]:
    """Loss coefficient of a perforated plate or of square-edged bars.

    Parameters
    ----------
    free_area_fraction : array_like
        Open area over whole area. [-]

    Returns
    -------
    ndarray
        Loss coefficient on the velocity before the plate. [-]

    Notes
    -----
    Table of [1]_ for square edges, 0.05 to 1, between its rows by a straight line in the
    logarithm (to 0.9) and in the value (from 0.9). The
    row at 0.9 lies below the trend of the others, by about one half.

    Validity
    --------
    Free-area fractions of 0.05 to 1. Outside, the value at the end is held.

    References
    ----------
    .. [1] R. D. Blevins, "Applied Fluid Dynamics Handbook," Van Nostrand Reinhold, New York,
           1984; table as carried by fluids 1.3.1, `square_edge_screen`.
    """
    fraction = np.asarray(free_area_fraction, dtype=np.float64)
    closed = np.exp(np.interp(fraction, _OPEN, np.log(_LOSS)))
    nearly_open = np.clip((1.0 - fraction) / (1.0 - _OPEN[-1]), 0.0, 1.0)
    loss: NDArray[np.float64] = closed * nearly_open
    return loss


def wire_screen(free_area_fraction: ArrayLike, reynolds: ArrayLike) -> NDArray[np.float64]:
    """Loss coefficient of a screen of round wires.

    Parameters
    ----------
    free_area_fraction : array_like
        Open area over whole area. [-]
    reynolds : array_like
        Reynolds number on the space between wires and the velocity in it, broadcast with
        *free_area_fraction*. [-]

    Returns
    -------
    ndarray
        Loss coefficient on the velocity before the screen. [-]

    Notes
    -----
    b(Re) (1 - f^2) / f^2 with b from the table of [1]_, Reynolds numbers of 20 to 400, held at
    its ends outside; stated for free-area fractions of 0.05 to 0.8. A fraction below 0.05
    counts as 0.05.

    Validity
    --------
    Free-area fractions of 0.05 to 0.8, Reynolds numbers of 20 to 400. Outside, drag is held at
    the ends, and a fraction below 0.05 counts as 0.05.

    References
    ----------
    .. [1] R. D. Blevins, "Applied Fluid Dynamics Handbook," Van Nostrand Reinhold, New York,
           1984; table as carried by fluids 1.3.1, `round_edge_screen`.
    """
    fraction = np.clip(np.asarray(free_area_fraction, dtype=np.float64), *FREE_AREA_RANGE)
    drag: NDArray[np.float64] = np.interp(np.asarray(reynolds, dtype=np.float64), _REYNOLDS, _DRAG)
    loss: NDArray[np.float64] = drag * (1.0 - fraction**2) / fraction**2
    return loss
