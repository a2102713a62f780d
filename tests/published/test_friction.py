"""Friction factors as printed in textbooks, as measured, and as an independent library has them."""

import numpy as np
import pytest
from fluids.friction import Churchill_1977, Clamond, oregon_fd_smooth, oregon_Res

from loopmargin_service.physics.pipe import friction_factor
from tests.published.printed import Independent, Printed

pytestmark = pytest.mark.law("pipe.friction_factor")

SMOOTH = "F. M. White, Fluid Mechanics, 4th ed., section 6.4, values below eq. 6.54"
ROUGH = "F. M. White, Fluid Mechanics, 4th ed., section 6.4, values below eq. 6.63"
OTHER_LAW = "the printed law is Prandtl's, from which Churchill's departs by up to 3.1 %"
CHURCHILL = Independent("fluids 1.3.1 `Churchill_1977`", rel=1e-11)
COLEBROOK = Independent("Colebrook by fluids 1.3.1 `Clamond`, Re 4e3 to 1e8", rel=0.031)
MEASURED = "McKeon et al., J. Fluid Mech. 511 (2004), measured, carried in fluids 1.3.1"
CHART = "read off Moody's chart; Churchill's law departs from its lines by up to 3.1 %"

SMOOTH_ROWS = [
    (4e3, Printed(SMOOTH, "0.0399", "1", 0.031 * 0.0399, OTHER_LAW)),
    (1e4, Printed(SMOOTH, "0.0309", "1", 0.031 * 0.0309, OTHER_LAW)),
    (1e5, Printed(SMOOTH, "0.0180", "1", 0.031 * 0.0180, OTHER_LAW)),
    (1e6, Printed(SMOOTH, "0.0116", "1")),
    (1e7, Printed(SMOOTH, "0.0081", "1")),
    (1e8, Printed(SMOOTH, "0.0059", "1", 0.031 * 0.0059, OTHER_LAW)),
]
ROUGH_ROWS = [
    (1e-5, Printed(ROUGH, "0.00806", "1")),
    (1e-4, Printed(ROUGH, "0.0120", "1")),
    (1e-3, Printed(ROUGH, "0.0196", "1")),
    (1e-2, Printed(ROUGH, "0.0379", "1")),
    (5e-2, Printed(ROUGH, "0.0716", "1", 1e-4, "Churchill's own constants are rounded")),
]
CHART_ROWS = [
    (
        128_000.0,
        0.0013,
        Printed("White, example 6.7, oil in cast iron", "0.0225", "1", 0.031 * 0.0225, CHART),
    ),
    (1e5, 0.0, Printed("Moody 1944, from memory", "0.018", "1", 0.031 * 0.018, CHART)),
    (1e6, 1e-3, Printed("Moody 1944, from memory", "0.020", "1", 0.031 * 0.020, CHART)),
    (1e8, 1e-2, Printed("Moody 1944, from memory", "0.038", "1", 0.031 * 0.038, CHART)),
]


@pytest.mark.parametrize(("reynolds", "row"), SMOOTH_ROWS)
def test_smooth_pipe(reynolds: float, row: Printed) -> None:
    """The factor of a smooth pipe is the printed one from Re 4000 to 1e8."""
    row.check(float(friction_factor(reynolds)))


@pytest.mark.parametrize(("roughness", "row"), ROUGH_ROWS)
def test_fully_rough_pipe(roughness: float, row: Printed) -> None:
    """At a very large Reynolds number only the roughness counts, with the printed factor."""
    row.check(float(friction_factor(1e10, roughness)))


@pytest.mark.parametrize(("reynolds", "roughness", "row"), CHART_ROWS)
def test_readings_of_the_chart(reynolds: float, roughness: float, row: Printed) -> None:
    """Between smooth and rough the factor is the one read off the chart."""
    row.check(float(friction_factor(reynolds, roughness)))


def test_head_loss_of_a_worked_example() -> None:
    """Water at 6 ft/s loses the printed head in 200 ft of 6 inch asphalted cast iron."""
    row = Printed("White, example 6.6, after Moody 1944", "4.5", "ft", 0.031 * 4.5, CHART)
    factor = float(friction_factor(270_000.0, 0.0008))

    row.check(factor * 200.0 / 0.5 * 6.0**2 / (2.0 * 32.2))


@pytest.mark.parametrize(
    ("low", "high", "off"), [(100.0, 1000.0, 0.075), (4e3, 1.1e6, 0.045), (2e3, 4e3, 0.51)]
)
def test_measured_smooth_pipe(low: float, high: float, off: float) -> None:
    """The law lies as near to measured smooth pipe flow as its docstring says.

    Data of McKeon et al., J. Fluid Mech. 511 (2004) 41-44, carried in fluids 1.3.1. The
    laminar runs scatter by some percent about 64/Re; between 2000 and 4000 some runs stay
    laminar longer than the law.
    """
    reynolds, measured = np.array(oregon_Res), np.array(oregon_fd_smooth)
    inside = (reynolds > low) & (reynolds < high)

    assert inside.sum() >= 10
    Independent(f"{MEASURED}, {off:.1%}", rel=off).check(
        friction_factor(reynolds[inside]), measured[inside]
    )


@pytest.mark.parametrize("roughness", [0.0, 1e-5, 1e-3, 0.05])
def test_equal_to_an_independent_churchill(roughness: float) -> None:
    """The same factor as by fluids 1.3.1 `Churchill_1977`, to eleven digits."""
    reynolds = np.logspace(-3, 8, 60)

    expected = [Churchill_1977(re, roughness) for re in reynolds]

    CHURCHILL.check(friction_factor(reynolds, roughness), expected)


@pytest.mark.parametrize("roughness", [0.0, 1e-6, 1e-4, 1e-2])
def test_near_to_colebrook(roughness: float) -> None:
    """In turbulent flow the law stays within 3.1 % of Colebrook's (fluids 1.3.1 `Clamond`)."""
    reynolds = np.logspace(np.log10(4e3), 8, 60)

    expected = [Clamond(re, roughness) for re in reynolds]

    COLEBROOK.check(friction_factor(reynolds, roughness), expected)
