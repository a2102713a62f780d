"""The correlations of louvred fins as a whole, evaluated by hand from the printed formulas.

Each formula below is written anew in the notation of its paper, lengths in millimetres, and
nothing of it comes from the code that is tested; so every constant and exponent is held. The
friction laws are those that three secondary sources print alike; known misprints in others are
an exponent of -1.453 for -1.435 and a lost 1.4. Park and Jacobi was met in secondary sources
only, which disagree on some signs: what is held here is the set that we remember too.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from math import cos, cosh, exp, log, pi, radians, sin, sqrt, tan

import pytest

from loopmargin_service.physics import louvred_fin
from loopmargin_service.physics.core_geometry import Core
from tests.published.printed import Independent, Printed
from tests.published.test_louvred_fin_laws import COMMON

BY_HAND = "by hand from the printed formula of "
CHANG_WANG = Independent(BY_HAND + "Chang and Wang 1997, IJHMT 40, 533-544", rel=1e-12)
CHANG = Independent(BY_HAND + "Chang et al. 2000, IJHMT 43, 2237-2243", rel=1e-12)
AMENDED = Independent(BY_HAND + "the amendment of 2006, IJHMT 49, 4250-4253", rel=1e-10)
PARK_JACOBI = Independent(BY_HAND + "Park and Jacobi 2009, J. Heat Transfer 131, 021801", rel=1e-12)
FALL_OFF = Independent(BY_HAND + "Park and Jacobi 2009, through Chang and Wang at 130", rel=1e-12)


DATA = "ranges of the 91 cores of Chang and Wang 1997, in a secondary source: "


@dataclass(frozen=True)
class Fin:
    """Letters of the papers. [mm, degrees]"""

    Fp: float
    Fl: float
    Lp: float
    Ll: float
    Td: float
    Tp: float
    Dm: float
    df: float
    th: float

    @property
    def Dh(self) -> float:  # noqa: N802 - the letter of the papers
        """Hydraulic diameter: four times free area times depth over wetted surface. [mm]"""
        free = (self.Fl - self.df) * (self.Fp - self.df)
        return 2.0 * free / (self.Fl + self.Fp - self.df)

    @property
    def core(self) -> Core:
        """The same as the code names it. [m]"""
        return replace(
            COMMON,
            fin_pitch=self.Fp / 1e3,
            louvre_pitch=self.Lp / 1e3,
            louvre_length=self.Ll / 1e3,
            depth=self.Td / 1e3,
            tube_pitch=self.Tp / 1e3,
            tube_thickness=self.Dm / 1e3,
            fin_thickness=self.df / 1e3,
            louvre_angle=self.th,
        )


# Within the ranges of the 91 cores, and different in every ratio. Invented.
FINS = (
    Fin(Fp=1.4, Fl=8.0, Lp=1.2, Ll=6.8, Td=30.0, Tp=10.0, Dm=2.0, df=0.08, th=27.0),
    Fin(Fp=1.0, Fl=6.8, Lp=0.9, Ll=5.5, Td=16.0, Tp=8.5, Dm=1.7, df=0.05, th=20.0),
    Fin(Fp=2.2, Fl=13.0, Lp=1.4, Ll=11.0, Td=45.0, Tp=16.0, Dm=3.0, df=0.12, th=30.0),
    Fin(Fp=1.6, Fl=9.5, Lp=2.4, Ll=7.0, Td=40.0, Tp=12.0, Dm=2.5, df=0.15, th=34.0),
)
Friction = Callable[[Fin, float], float]
every_fin = pytest.mark.parametrize("fin", FINS)


def chang_wang(g: Fin, re: float) -> float:
    """Colburn factor of 1997."""
    return float(
        re**-0.49
        * (g.th / 90) ** 0.27
        * (g.Fp / g.Lp) ** -0.14
        * (g.Fl / g.Lp) ** -0.29
        * (g.Td / g.Lp) ** -0.23
        * (g.Ll / g.Lp) ** 0.68
        * (g.Tp / g.Lp) ** -0.28
        * (g.df / g.Lp) ** -0.05
    )


def friction_low(g: Fin, re: float) -> float:
    """Product f1 f2 f3 of 2000, Reynolds numbers below 150."""
    f1 = 14.39 * re ** (-0.805 * g.Fp / g.Fl) * log(1 + g.Fp / g.Lp) ** 3.04
    f2 = (
        log((g.df / g.Fp) ** 0.48 + 0.9) ** -1.435 * (g.Dh / g.Lp) ** -3.01 * log(0.5 * re) ** -3.01
    )
    f3 = (g.Fp / g.Ll) ** -0.308 * (g.Td / g.Ll) ** -0.308 * exp(-0.1167 * g.Tp / g.Dm) * g.th**0.35
    return float(f1 * f2 * f3)


def friction_high(g: Fin, re: float) -> float:
    """Product f1 f2 f3 of 2000, Reynolds numbers above 150."""
    f1 = 4.97 * re ** (0.6049 - 1.064 / g.th**0.2) * log((g.df / g.Fp) ** 0.5 + 0.9) ** -0.527
    f2 = (g.Dh / g.Lp * log(0.3 * re)) ** -2.966 * (g.Fp / g.Ll) ** (-0.7931 * g.Tp / (g.Tp - g.Dm))
    f3 = (g.Tp / g.Dm) ** -0.0446 * log(1.2 + (g.Lp / g.Fp) ** 1.4) ** -3.553 * g.th**-0.477
    return float(f1 * f2 * f3)


def friction_joined(g: Fin, re: float) -> float:
    """Join of 2006, Reynolds numbers of 130 to 230."""
    w = 3.6 - 0.02 * re
    low, high = friction_low(g, 130), friction_high(g, 230)
    return sqrt(((1 + w) * low**2 + (1 - w) * high**2) / 2)


def park_jacobi(g: Fin, re: float) -> float:
    """Colburn factor of 2009, louvres turned round once."""
    a, banks = radians(g.th), 2
    j_re = re ** (-0.458 - 0.00874 * cosh(g.Fp / g.Lp - 1))
    j_low = 1 - sin(a * g.Lp / g.Fp) / cosh(0.049 * re - 0.142 * g.Td / (banks * g.Fp))
    wave = cos(2 * pi * (g.Fp / (g.Lp * tan(a)) - 1.8))
    j_lv = 1 + 0.0065 * tan(a) * g.Td / (banks * g.Fp) * wave
    shape = (
        a**0.219
        * banks**-0.0881
        * (g.Fl / g.Lp) ** 0.149
        * (g.Td / g.Fp) ** -0.259
        * (g.Ll / g.Fl) ** 0.540
        * (g.Fl / g.Tp) ** -0.902
        * (1 - g.df / g.Lp) ** 2.62
        * (g.Lp / g.Fp) ** 0.301
    )
    return float(0.872 * j_re * j_low * j_lv * shape)


@pytest.mark.law("louvred_fin.colburn_factor_chang_wang")
@every_fin
@pytest.mark.parametrize("reynolds", [100.0, 700.0, 3000.0])
def test_heat_transfer_of_1997(fin: Fin, reynolds: float) -> None:
    """The whole law, for cores that differ in every ratio."""
    found = louvred_fin.colburn_factor_chang_wang(fin.core, reynolds)

    CHANG_WANG.check(found, chang_wang(fin, reynolds))


@pytest.mark.law("louvred_fin.friction_factor")
@every_fin
@pytest.mark.parametrize("reynolds", [50.0, 90.0, 130.0])
def test_friction_of_slow_air(fin: Fin, reynolds: float) -> None:
    """The law for low Reynolds numbers holds up to the join, and down to where we leave it."""
    CHANG.check(louvred_fin.friction_factor(fin.core, reynolds), friction_low(fin, reynolds))


@pytest.mark.law("louvred_fin.friction_factor")
@every_fin
@pytest.mark.parametrize("reynolds", [300.0, 800.0, 3000.0])
def test_friction_of_fast_air(fin: Fin, reynolds: float) -> None:
    """The law for high Reynolds numbers holds from the end of the join."""
    CHANG.check(louvred_fin.friction_factor(fin.core, reynolds), friction_high(fin, reynolds))


@pytest.mark.law("louvred_fin.friction_factor")
@pytest.mark.parametrize(("reynolds", "law"), [(90.0, friction_low), (800.0, friction_high)])
def test_friction_right_above_the_thinnest_fins(reynolds: float, law: Friction) -> None:
    """The laws are held below a fin ratio of 0.02, and followed from half a percent above it."""
    thin = replace(FINS[0], Fp=2.0, df=0.0402)
    CHANG.check(louvred_fin.friction_factor(thin.core, reynolds), law(thin, reynolds))

    thinner = replace(thin, df=0.0398)
    assert float(louvred_fin.friction_factor(thinner.core, reynolds)) < 0.999 * law(
        thinner, reynolds
    )


@pytest.mark.law("louvred_fin.friction_factor")
@every_fin
@pytest.mark.parametrize("reynolds", [131.0, 160.0, 200.0, 229.0])
def test_friction_between(fin: Fin, reynolds: float) -> None:
    """The amendment, unless the drop would then rise less than the root of the velocity."""
    held = min(reynolds, steepest(fin))

    least = friction_joined(fin, held) * (held / reynolds) ** 1.5

    AMENDED.check(louvred_fin.friction_factor(fin.core, reynolds), least)


def steepest(g: Fin) -> float:
    """Reynolds number at which f Re^2 of the join rises as its root, found by halving."""

    def rises(re: float) -> bool:
        step = 1 + 1e-6
        return 1.5 * log(step) + log(friction_joined(g, step * re) / friction_joined(g, re)) > 0

    low, high = 130.0, 230.0 / (1 + 1e-6)
    if rises(high):
        return 230.0
    for _ in range(40):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if rises(middle) else (low, middle)
    return low


@pytest.mark.law("louvred_fin.colburn_factor_park_jacobi")
@every_fin
@pytest.mark.parametrize("reynolds", [60.0, 100.0, 400.0, 4000.0])
def test_heat_transfer_of_2009(fin: Fin, reynolds: float) -> None:
    """The whole law, where its fall-off term rises with the Reynolds number."""
    found = louvred_fin.colburn_factor_park_jacobi(fin.core, reynolds)

    PARK_JACOBI.check(found, park_jacobi(fin, reynolds))


@pytest.mark.law("louvred_fin.colburn_factor")
@every_fin
@pytest.mark.parametrize("reynolds", [60.0, 100.0, 125.0])
def test_fall_off_below_130(fin: Fin, reynolds: float) -> None:
    """Slow air transfers by 1997 at 130, times the fall that 2009 has from there."""
    expected = chang_wang(fin, 130.0) * park_jacobi(fin, reynolds) / park_jacobi(fin, 130.0)

    FALL_OFF.check(louvred_fin.colburn_factor(fin.core, reynolds), expected)


@pytest.mark.law("louvred_fin.colburn_factor_chang_wang")
@pytest.mark.parametrize(
    ("field", "lowest", "highest", "unit"),
    [
        ("louvre_pitch", "0.5", "3.0", 1e-3),
        ("louvre_length", "0.94", "18.5", 1e-3),
        ("louvre_angle", "8.43", "35", 1.0),
        ("fin_pitch", "0.51", "3.33", 1e-3),
        ("depth", "15.6", "50", 1e-3),
        ("fin_length", "6.0", "20", 1e-3),
        ("fin_thickness", "0.04", "0.16", 1e-3),
        ("tube_pitch", "7.51", "25.0", 1e-3),
    ],
)
def test_range_of_the_data(field: str, lowest: str, highest: str, unit: float) -> None:
    """What counts as inside the data is what the data were."""
    low, high = louvred_fin.GEOMETRY_RANGES[field]
    shown = "degrees" if unit == 1.0 else "mm"

    Printed(f"{DATA}{field}, least", lowest, shown, 1e-9, "typed, not computed").check(low / unit)
    Printed(f"{DATA}{field}, most", highest, shown, 1e-9, "typed, not computed").check(high / unit)
