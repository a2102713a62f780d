"""Printed diameters and resistances of American wire gauges.

F: Floyd, Electric Circuit Fundamentals, 2nd ed., wire table, as given by HyperPhysics (Georgia
   State University), solid copper at 20 degC. Diameters follow ASTM B258.
"""

import pytest

from loopmargin_service.physics.wire import RESISTIVITY, diameter, resistance_per_length
from tests.published.printed import Printed

pytestmark = pytest.mark.law("wire.diameter")

INCH = 0.0254
THOUSAND_FEET = 304.8
ROUNDED = "the table carries a rounded area; the constants of the standard are 1.3e-4 lower"

DIAMETERS = [
    (-3, Printed("ASTM B258-02, 4/0, the upper defining value", "0.4600", "inch")),
    (36, Printed("ASTM B258-02, 36, the lower defining value", "0.0050", "inch")),
    (-1, Printed("F, 2/0", "0.3648", "inch")),
    (12, Printed("F, 12", "0.0808", "inch")),
    (14, Printed("F, 14", "0.06408", "inch")),
    (16, Printed("F, 16", "0.05082", "inch")),
    (18, Printed("F, 18", "0.0403", "inch")),
    (20, Printed("F, 20", "0.03196", "inch")),
    (22, Printed("F, 22", "0.02535", "inch")),
    (24, Printed("F, 24", "0.0201", "inch")),
]


@pytest.mark.parametrize(("gauge", "row"), DIAMETERS)
def test_diameter(gauge: int, row: Printed) -> None:
    """The series of 39 equal steps gives the printed diameters."""
    row.check(float(diameter(gauge) / INCH))


RESISTANCES = [
    (12, Printed("F, 12", "1.588", "ohm/1000 ft")),
    (14, Printed("F, 14", "2.525", "ohm/1000 ft")),
    (16, Printed("F, 16", "4.016", "ohm/1000 ft", 0.0006, ROUNDED)),
    (18, Printed("F, 18", "6.385", "ohm/1000 ft")),
    (19, Printed("F, 19", "8.051", "ohm/1000 ft")),
    (20, Printed("F, 20", "10.15", "ohm/1000 ft")),
    (22, Printed("F, 22", "16.14", "ohm/1000 ft")),
    (24, Printed("F, 24", "25.67", "ohm/1000 ft")),
    (28, Printed("F, 28", "64.9", "ohm/1000 ft")),
]


@pytest.mark.law("wire.resistance_per_length")
@pytest.mark.parametrize(("gauge", "row"), RESISTANCES)
def test_resistance(gauge: int, row: Printed) -> None:
    """Annealed copper of the standard resistivity gives the printed resistances."""
    row.check(float(resistance_per_length(gauge, 293.15) * THOUSAND_FEET))


@pytest.mark.law("wire.resistance_per_length")
def test_conductivity_of_the_copper_standard() -> None:
    """The resistivity is that of the standard's 58 MS/m."""
    Printed("IEC 60028:1925, annealed copper at 20 degC", "58", "MS/m").check(1e-6 / RESISTIVITY)
