"""The correlations of louvred fins: printed exponents, and two fits of different data.

The papers print no worked values, so the printed exponents are checked one by one, by the
slope of the logarithm, and the constant by the core whose ratios are all one.
"""

import math
from dataclasses import replace
from typing import Any

import pytest

from loopmargin_service.physics import louvred_fin
from loopmargin_service.physics.core_geometry import Core
from tests.published.printed import Independent, Printed

pytestmark = pytest.mark.law("louvred_fin.colburn_factor_chang_wang")

HEAT = "Y.-J. Chang and C.-C. Wang, Int. J. Heat Mass Transfer 40 (1997), general correlation"
FRICTION = "Y.-J. Chang et al., Int. J. Heat Mass Transfer 43 (2000), general correlation"
COMMON = Core(
    face_width=0.28,
    face_height=0.14,
    depth=0.03,
    tube_pitch=0.01,
    tube_thickness=0.002,
    tube_wall=0.0002,
    passes=2,
    fin_pitch=0.0254 / 18,
    fin_thickness=0.08e-3,
    fin_conductivity=380.0,
    louvre_pitch=1.2e-3,
    louvre_angle=27.0,
    louvre_length=6.8e-3,
)
OTHER_FIT = Independent("Chang and Wang 1997, fitted to other cores, for a common one", rel=0.06)
STEP = 1.001


def slope(before: float, after: float) -> float:
    """Exponent with which a value answers to one step of an input."""
    return math.log(after / before) / math.log(STEP)


@pytest.mark.parametrize(
    ("field", "row"),
    [
        ("louvre_angle", Printed(HEAT, "0.27", "1")),
        ("fin_pitch", Printed(HEAT, "-0.14", "1")),
        ("depth", Printed(HEAT, "-0.23", "1")),
        ("louvre_length", Printed(HEAT, "0.68", "1")),
        ("fin_thickness", Printed(HEAT, "-0.05", "1")),
        (
            "louvre_pitch",
            Printed(HEAT + ", sum of all other exponents but the angle's", "0.31", "1"),
        ),
    ],
)
def test_heat_transfer_exponents(field: str, row: Printed) -> None:
    """The Colburn factor answers to each length with the printed exponent."""
    wider = replace(COMMON, **{field: STEP * getattr(COMMON, field)})

    before = float(louvred_fin.colburn_factor_chang_wang(COMMON, 300.0))
    after = float(louvred_fin.colburn_factor_chang_wang(wider, 300.0))

    row.check(slope(before, after))


def test_heat_transfer_exponents_across_the_tubes() -> None:
    """Gap and tube pitch answer with the printed exponents when only one of them moves."""
    gap = STEP * COMMON.fin_length
    longer = replace(COMMON, tube_thickness=COMMON.tube_pitch - gap)
    pitch = STEP * COMMON.tube_pitch
    apart = replace(COMMON, tube_pitch=pitch, tube_thickness=pitch - COMMON.fin_length)
    before = float(louvred_fin.colburn_factor_chang_wang(COMMON, 300.0))

    Printed(HEAT, "-0.29", "1").check(
        slope(before, float(louvred_fin.colburn_factor_chang_wang(longer, 300.0)))
    )
    Printed(HEAT, "-0.28", "1").check(
        slope(before, float(louvred_fin.colburn_factor_chang_wang(apart, 300.0)))
    )


def test_heat_transfer_constant() -> None:
    """With every ratio at one and louvres at 90 degrees only the Reynolds number is left."""
    lengths = ("depth", "tube_pitch", "fin_pitch", "fin_thickness", "louvre_pitch", "louvre_length")
    ones: dict[str, Any] = dict.fromkeys(lengths, 1e-3)
    unit = replace(COMMON, **ones, tube_thickness=0.0, louvre_angle=90.0)

    factor = float(louvred_fin.colburn_factor_chang_wang(unit, 100.0))

    Printed(HEAT, "-0.49", "1").check(math.log(factor) / math.log(100.0))


@pytest.mark.law("louvred_fin.friction_factor")
@pytest.mark.parametrize(
    ("reynolds", "field", "row"),
    [
        (100.0, "louvre_angle", Printed(FRICTION + ", low", "0.35", "1")),
        (100.0, "depth", Printed(FRICTION + ", low", "-0.308", "1")),
        (100.0, "louvre_length", Printed(FRICTION + ", low, twice 0.308", "0.616", "1")),
        (500.0, "depth", Printed(FRICTION + ", high", "0.0", "1")),
        (500.0, "louvre_length", Printed(FRICTION + ", high, 0.7931 x 10/8", "0.9914", "1")),
    ],
)
def test_friction_exponents(reynolds: float, field: str, row: Printed) -> None:
    """The friction factor answers to each length with the printed exponent."""
    wider = replace(COMMON, **{field: STEP * getattr(COMMON, field)})

    before = float(louvred_fin.friction_factor(COMMON, reynolds))
    after = float(louvred_fin.friction_factor(wider, reynolds))

    row.check(slope(before, after))


@pytest.mark.law("louvred_fin.colburn_factor_park_jacobi")
@pytest.mark.parametrize("reynolds", [100.0, 130.0, 200.0, 300.0, 500.0, 1000.0])
def test_two_laws_of_heat_transfer_agree(reynolds: float) -> None:
    """Chang-Wang and Park-Jacobi, fitted to different cores, lie within 6 % for a common core."""
    first = louvred_fin.colburn_factor_chang_wang(COMMON, reynolds)

    OTHER_FIT.check(louvred_fin.colburn_factor_park_jacobi(COMMON, reynolds), first)
