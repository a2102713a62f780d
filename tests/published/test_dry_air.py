"""Dry air against a textbook table and an independent library."""

import pytest
from CoolProp.CoolProp import PropsSI

from loopmargin_service.physics import air
from tests.published.printed import Independent, Printed

pytestmark = pytest.mark.law("air.density", "air.viscosity", "air.conductivity")

TABLE = "Y. A. Cengel, Heat Transfer, table A-15, properties of air at 1 atm pressure"
IDEAL = "printed to four digits, some of them one unit off the ideal gas"
OLDER_VISCOSITY = "the table is older than Lemmon and Jacobsen 2004 and differs by up to 0.45 %"
OLDER_CONDUCTIVITY = "the table is older than Lemmon and Jacobsen 2004 and up to 3.1 % below it"

ROWS = [
    (0.0, "1.292", "1.729", "0.02364"),
    (10.0, "1.246", "1.778", "0.02439"),
    (20.0, "1.204", "1.825", "0.02514"),
    (25.0, "1.184", "1.849", "0.02551"),
    (30.0, "1.164", "1.872", "0.02588"),
    (40.0, "1.127", "1.918", "0.02662"),
    (60.0, "1.059", "2.008", "0.02808"),
    (80.0, "0.9994", "2.096", "0.02953"),
]


@pytest.mark.parametrize("row", ROWS, ids=lambda row: f"{row[0]} degC")
def test_textbook_table(row: tuple[float, str, str, str]) -> None:
    """Density is the printed one; viscosity and conductivity but for the newer formulation."""
    kelvin = row[0] + 273.15

    Printed(TABLE, row[1], "kg/m3", 1e-3, IDEAL).check(air.density(101325.0, kelvin), "air.density")
    Printed(TABLE, row[2], "1e-5 kg/(m s)", 0.0045 * float(row[2]), OLDER_VISCOSITY).check(
        1e5 * air.viscosity(kelvin), "air.viscosity"
    )
    Printed(TABLE, row[3], "W/(m K)", 0.031 * float(row[3]), OLDER_CONDUCTIVITY).check(
        air.conductivity(kelvin), "air.conductivity"
    )


@pytest.mark.parametrize("celsius", range(-20, 81, 10))
def test_equal_to_coolprop(celsius: int) -> None:
    """The fits stay within their stated errors of CoolProp 8.0.0 from -20 to 80 degC."""
    kelvin = celsius + 273.15
    expected = {
        letter: PropsSI(letter, "T", kelvin, "P", 101325, "Air") for letter in ("D", "V", "L", "C")
    }

    for law, letter, found, off in (
        ("air.density", "D", air.density(101325.0, kelvin), 1e-3),
        ("air.viscosity", "V", air.viscosity(kelvin), 2e-4),
        ("air.conductivity", "L", air.conductivity(kelvin), 2e-4),
    ):
        Independent("CoolProp 8.0.0", rel=off).check(found, expected[letter], law)
    assert expected["C"] == pytest.approx(air.HEAT_CAPACITY, rel=3e-3)


@pytest.mark.parametrize("pressure", [70e3, 101325.0])
@pytest.mark.parametrize("letter", ["V", "L", "C"])
def test_pressure_counts_for_the_density_only(pressure: float, letter: str) -> None:
    """From sea level to 3000 m the other properties move by less than 0.1 % (CoolProp 8.0.0)."""
    at_sea_level = PropsSI(letter, "T", 298.15, "P", 101325, "Air")

    assert at_sea_level == pytest.approx(
        PropsSI(letter, "T", 298.15, "P", pressure, "Air"), rel=1e-3
    )
