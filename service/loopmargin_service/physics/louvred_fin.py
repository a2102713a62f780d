"""Air side of louvred fins: heat transfer and friction against the Reynolds number.

Chang and Wang for heat and Chang et al. for friction, which rest on the same 91 cores. Below
a Reynolds number of 130 heat transfer falls off because the air stops following the louvres;
the shape of that fall is taken from Park and Jacobi. The Reynolds number is on the louvre
pitch and the velocity in the free area.

Where a printed law has a pole or turns back outside the cores it was fitted to, the ratio
that does it is held; each place says so. A solver can then ask for any core.
"""

import math
from functools import lru_cache
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from loopmargin_service.physics.core_geometry import Core

REYNOLDS_RANGE = (100.0, 3000.0)
"""Reynolds numbers that both correlations of the 91 cores were stated for. [-]"""

REYNOLDS_FALL_OFF = 130.0
"""Below it the fall of heat transfer is taken from Park and Jacobi, stated down to 27. [-]"""

GEOMETRY_RANGES = {
    "louvre_pitch": (0.5e-3, 3.0e-3),
    "louvre_length": (0.94e-3, 18.5e-3),
    "louvre_angle": (8.43, 35.0),
    "fin_pitch": (0.51e-3, 3.33e-3),
    "depth": (15.6e-3, 50.0e-3),
    "fin_length": (6.0e-3, 20.0e-3),
    "fin_thickness": (0.04e-3, 0.16e-3),
    "tube_pitch": (7.51e-3, 25.0e-3),
}
"""Smallest and largest of the 91 cores, by attribute of `Core`. [m, angle in degrees]"""

LOUVRE_BANKS = 2
"""Banks of louvres in the depth: the air is turned round once, in the middle. [-]"""

_STILL = 1.0
_FALL_OFF_LOWEST = 0.5
_PITCH_RATIO_MAX = 3.0
_COSH_ARGUMENT_MAX = 700.0
_FRICTION_CREEPING = 50.0
_FRICTION_LOW_END = 130.0
_FRICTION_HIGH_START = 230.0
_FIN_RATIO_MIN = 0.02
_FIN_PITCH_SHARE_MAX = 0.55


def colburn_factor(core: Core, reynolds: ArrayLike) -> NDArray[np.float64]:
    """Colburn factor of the air side, continuous over all Reynolds numbers.

    Parameters
    ----------
    core : Core
        Geometry. [m]
    reynolds : array_like
        Reynolds number on the louvre pitch. [-]

    Returns
    -------
    ndarray
        Colburn factor, j. [-]

    Notes
    -----
    `colburn_factor_chang_wang` from a Reynolds number of 130. Below, the value there times
    the ratio of `colburn_factor_park_jacobi` to its own value at 130: the two laws differ by
    up to 30 % at 130 for some cores, and a jump would make more air transfer less heat.

    Validity
    --------
    Reynolds numbers of 27 to 3000, cores of `GEOMETRY_RANGES`. Outside, the laws that it joins
    go on.
    """
    reynolds = np.asarray(reynolds, dtype=np.float64)
    factor = colburn_factor_chang_wang(core, np.maximum(reynolds, REYNOLDS_FALL_OFF))
    if not np.any(reynolds < REYNOLDS_FALL_OFF):
        return factor
    slow = colburn_factor_park_jacobi(core, np.minimum(reynolds, REYNOLDS_FALL_OFF))
    falling_off = factor * (slow / colburn_factor_park_jacobi(core, REYNOLDS_FALL_OFF))
    return np.where(reynolds < REYNOLDS_FALL_OFF, falling_off, factor)


def colburn_factor_chang_wang(core: Core, reynolds: ArrayLike) -> NDArray[np.float64]:
    """Colburn factor by Chang and Wang 1997.

    Parameters
    ----------
    core : Core
        Geometry. [m]
    reynolds : array_like
        Reynolds number on the louvre pitch, above zero. [-]

    Returns
    -------
    ndarray
        Colburn factor, j. [-]

    Notes
    -----
    The general correlation of [1]_, stated for Reynolds numbers of 100 to 3000 and the cores
    of `GEOMETRY_RANGES`; 89 % of its data lie within 15 %. Outside it continues as a power law
    and is too high below 100.

    Validity
    --------
    Reynolds numbers of 100 to 3000, cores of `GEOMETRY_RANGES`. Outside, it goes on as a power
    law and is too high below 100.

    References
    ----------
    .. [1] Y.-J. Chang, C.-C. Wang, "A Generalized Heat Transfer Correlation for Louver Fin
           Geometry," Int. J. Heat Mass Transfer, vol. 40, no. 3, pp. 533-544, 1997.
           doi:10.1016/0017-9310(96)00116-0
    """
    pitch = core.louvre_pitch
    shape = (
        (core.louvre_angle / 90.0) ** 0.27
        * (core.fin_pitch / pitch) ** -0.14
        * (core.fin_length / pitch) ** -0.29
        * (core.depth / pitch) ** -0.23
        * (core.louvre_length / pitch) ** 0.68
        * (core.tube_pitch / pitch) ** -0.28
        * (core.fin_thickness / pitch) ** -0.05
    )
    factor: NDArray[np.float64] = shape * np.asarray(reynolds, dtype=np.float64) ** -0.49
    return factor


def colburn_factor_park_jacobi(core: Core, reynolds: ArrayLike) -> NDArray[np.float64]:
    """Colburn factor by Park and Jacobi 2009.

    Parameters
    ----------
    core : Core
        Geometry. [m]
    reynolds : array_like
        Reynolds number on the louvre pitch. [-]

    Returns
    -------
    ndarray
        Colburn factor, j. [-]

    Notes
    -----
    The correlation of [1]_, stated for Reynolds numbers of 27 to 4132, with a deviation of
    11.5 % (rms). Its constants were met in secondary sources only; with them it lies within
    6 % of Chang and Wang at 100 to 1000 for a common core.

    The fall-off term passes through its least value where the argument of cosh is zero and
    would rise again below; here it stays, and is not let below one half, which it would pass
    for fins much deeper than their pitch. The ratio of pitches in the exponent is held at 3, a
    Reynolds number below 1 counts as 1.

    Validity
    --------
    Reynolds numbers of 27 to 4132. Outside, the law goes on with the ratios held as said above.

    References
    ----------
    .. [1] Y.-G. Park, A. M. Jacobi, "Air-Side Heat Transfer and Friction Correlations for
           Flat-Tube Louver-Fin Heat Exchangers," J. Heat Transfer, vol. 131, no. 2, 021801,
           2009. doi:10.1115/1.3000609
    """
    moving = np.maximum(np.asarray(reynolds, dtype=np.float64), _STILL)
    angle = math.radians(core.louvre_angle)
    ratio = core.fin_pitch / core.louvre_pitch
    bank = core.depth / (LOUVRE_BANKS * core.fin_pitch)
    exponent = -0.458 - 0.00874 * math.cosh(min(ratio, _PITCH_RATIO_MAX) - 1.0)
    turned = np.cosh(np.clip(0.049 * moving - 0.142 * bank, 0.0, _COSH_ARGUMENT_MAX))
    fall_off = np.maximum(1.0 - math.sin(angle / ratio) / turned, _FALL_OFF_LOWEST)
    wave = math.cos(2.0 * math.pi * (ratio / math.tan(angle) - 1.8))
    waving = 1.0 + 0.0065 * math.tan(angle) * bank * wave
    factor: NDArray[np.float64] = 0.872 * waving * moving**exponent * fall_off
    return factor * _park_jacobi_shape(core, angle)


def friction_factor(core: Core, reynolds: ArrayLike) -> NDArray[np.float64]:
    """Friction factor of the air side by Chang et al. 2000 and 2006.

    Parameters
    ----------
    core : Core
        Geometry. [m]
    reynolds : array_like
        Reynolds number on the louvre pitch. [-]

    Returns
    -------
    ndarray
        Friction factor of Fanning. [-]

    Notes
    -----
    The laws of [1]_ for low and high Reynolds numbers, joined from 130 to 230 as amended in
    [2]_ (met in a secondary source). 83 % of the data lie within 15 %. Stated for 100 to 3000.

    Departures: below 50 the factor goes on as one over the Reynolds number, since the printed
    law has a pole at 2. Where the join falls so steeply that the pressure drop would not rise
    with the root of the velocity at least, it rises just so. Two ratios are held where the law
    leaves its cores: fin thickness over fin pitch at 0.02 from below (a pole at 0.008), fin
    pitch over fin length at 0.55 from above.

    Validity
    --------
    Reynolds numbers of 100 to 3000, cores of `GEOMETRY_RANGES`. Outside, the departures above
    hold.

    References
    ----------
    .. [1] Y.-J. Chang, K.-C. Hsu, Y.-T. Lin, C.-C. Wang, "A Generalized Friction Correlation
           for Louver Fin Geometry," Int. J. Heat Mass Transfer, vol. 43, no. 12, pp. 2237-2243,
           2000. doi:10.1016/S0017-9310(99)00289-6
    .. [2] Y.-J. Chang, W.-J. Chang, M.-C. Li, C.-C. Wang, "An Amendment of the Generalized
           Friction Correlation for Louver Fin Geometry," Int. J. Heat Mass Transfer, vol. 49,
           pp. 4250-4253, 2006.
    """
    law = _friction_law(core)
    moving = np.maximum(np.asarray(reynolds, dtype=np.float64), _STILL)
    held = np.clip(moving, _FRICTION_CREEPING, _FRICTION_LOW_END)
    slow = law.low(held) / np.minimum(moving / _FRICTION_CREEPING, 1.0)
    if not np.any(moving > _FRICTION_LOW_END):
        return slow
    fast = law.above_low_end(np.maximum(moving, _FRICTION_LOW_END))
    return np.where(moving > _FRICTION_LOW_END, fast, slow)


def _park_jacobi_shape(core: Core, angle: float) -> float:
    """Factors of the law that do not depend on the flow."""
    pitch = core.louvre_pitch
    shape: float = (
        angle**0.219
        * LOUVRE_BANKS**-0.0881
        * (core.fin_length / pitch) ** 0.149
        * (core.depth / core.fin_pitch) ** -0.259
        * (core.louvre_length / core.fin_length) ** 0.540
        * (core.fin_length / core.tube_pitch) ** -0.902
        * (1.0 - core.fin_thickness / pitch) ** 2.62
        * (pitch / core.fin_pitch) ** 0.301
    )
    return shape


class _FrictionLaw(NamedTuple):
    """The law of one core, with all that does not depend on the flow worked out.

    The join of [2] is a straight line in the square of the factor, `foot` - `fall` Re; beyond
    `turn` the pressure drop would no longer rise with the root of velocity.
    """

    low_shape: float
    low_exponent: float
    high_shape: float
    high_exponent: float
    foot: float
    fall: float
    turn: float

    def low(self, reynolds: NDArray[np.float64]) -> NDArray[np.float64]:
        """Give the factor by the law of [1] for Reynolds numbers below 150."""
        bent: NDArray[np.float64] = np.log(0.5 * reynolds) ** -3.01
        return self.low_shape * reynolds**self.low_exponent * bent

    def high(self, reynolds: NDArray[np.float64]) -> NDArray[np.float64]:
        """Give the factor by the law of [1] for Reynolds numbers above 150."""
        bent: NDArray[np.float64] = np.log(0.3 * reynolds) ** -2.966
        return self.high_shape * reynolds**self.high_exponent * bent

    def above_low_end(self, reynolds: NDArray[np.float64]) -> NDArray[np.float64]:
        """Give the factor by the join of [2] up to 230 and the law for high flows beyond."""
        held = np.minimum(reynolds, self.turn)
        joined = np.sqrt(self.foot - self.fall * held) * (held / reynolds) ** 1.5
        beyond = np.where(reynolds > _FRICTION_HIGH_START, self.high(reynolds), 0.0)
        return np.maximum(joined, beyond)


@lru_cache(maxsize=256)
def _friction_law(core: Core) -> _FrictionLaw:
    low, high = _friction_low_shape(core), _friction_high_shape(core)
    law = _FrictionLaw(*low, *high, foot=0.0, fall=0.0, turn=_FRICTION_HIGH_START)
    start = float(law.low(np.array(_FRICTION_LOW_END))) ** 2
    end = float(law.high(np.array(_FRICTION_HIGH_START))) ** 2
    fall = (start - end) / (_FRICTION_HIGH_START - _FRICTION_LOW_END)
    foot = start + fall * _FRICTION_LOW_END
    turn = _FRICTION_HIGH_START
    if fall > 0.0:
        turn = min(max(0.75 * foot / fall, _FRICTION_LOW_END), turn)
    return law._replace(foot=foot, fall=fall, turn=turn)


def _friction_low_shape(core: Core) -> tuple[float, float]:
    """Factor and exponent of f1 f2 f3 of [1] for low Reynolds numbers."""
    pitch = core.louvre_pitch
    fin_ratio = max(core.fin_thickness / core.fin_pitch, _FIN_RATIO_MIN)
    exponent = -0.805 * min(core.fin_pitch / core.fin_length, _FIN_PITCH_SHARE_MAX)
    shape: float = (
        14.39
        * math.log1p(core.fin_pitch / pitch) ** 3.04
        * math.log(fin_ratio**0.48 + 0.9) ** -1.435
        * (core.hydraulic_diameter / pitch) ** -3.01
        * (core.fin_pitch * core.depth / core.louvre_length**2) ** -0.308
        * math.exp(-0.1167 * core.tube_pitch / core.tube_thickness)
        * core.louvre_angle**0.35
    )
    return shape, exponent


def _friction_high_shape(core: Core) -> tuple[float, float]:
    """Factor and exponent of f1 f2 f3 of [1] for high Reynolds numbers."""
    pitch = core.louvre_pitch
    fin_ratio = max(core.fin_thickness / core.fin_pitch, _FIN_RATIO_MIN)
    pitch_share = core.fin_pitch / core.louvre_length
    shape: float = (
        4.97
        * math.log(math.sqrt(fin_ratio) + 0.9) ** -0.527
        * (core.hydraulic_diameter / pitch) ** -2.966
        * pitch_share ** (-0.7931 * core.tube_pitch / core.fin_length)
        * (core.tube_pitch / core.tube_thickness) ** -0.0446
        * math.log(1.2 + (pitch / core.fin_pitch) ** 1.4) ** -3.553
        * core.louvre_angle**-0.477
    )
    return shape, 0.6049 - 1.064 / core.louvre_angle**0.2
