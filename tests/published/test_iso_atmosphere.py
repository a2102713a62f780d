"""The standard atmosphere as printed, and by an independent library."""

import numpy as np
import psychrolib
import pytest
from ambiance import Atmosphere

from loopmargin_service.physics import air
from tests.published.printed import Independent, Printed

pytestmark = pytest.mark.law("air.standard_pressure")

TABLE = "ISO 2533:1975, table 5, as transcribed in the tests of metanorma/atmospheric"
GAS_CONSTANT = "the standard has 287.05287 J/(kg K) for dry air where the law has 287.055"
AMBIANCE = Independent("ambiance 1.3.1", rel=1e-5)
ROUNDED = Independent("psychrolib 2.5.0, the rounded law of ASHRAE", abs=1.0)
OLDER = "the standard has the form of Sutherland, up to 0.4 % below Lemmon and Jacobsen 2004"
OLDER_TOO = "the standard is up to 1 % below Lemmon and Jacobsen 2004"

# Altitude, pressure, temperature, density, viscosity and conductivity.
ROWS = [
    (-1000.0, "1139.29", 294.65, "1.34700", "1.8206", "2.5853"),
    (0.0, "1013.25", 288.15, "1.22500", "1.7894", "2.5343"),
    (500.0, "954.608", 284.90, "1.16727", "1.7737", "2.5087"),
    (1000.0, "898.746", 281.65, "1.11164", "1.7578", "2.4830"),
    (1500.0, "845.560", 278.40, "1.05807", "1.7419", "2.4572"),
    (2000.0, "794.952", 275.15, "1.00649", "1.7260", "2.4314"),
    (3000.0, "701.085", 268.65, "0.909122", "1.6937", "2.3794"),
]


@pytest.mark.parametrize("row", ROWS, ids=lambda row: f"{row[0]:g} m")
def test_pressure(row: tuple[float, str, float, str, str, str]) -> None:
    """The pressure is the printed one at each geopotential altitude."""
    Printed(TABLE, row[1], "mbar").check(0.01 * float(air.standard_pressure(row[0])))


@pytest.mark.law("air.density")
@pytest.mark.parametrize("row", ROWS, ids=lambda row: f"{row[0]:g} m")
def test_density(row: tuple[float, str, float, str, str, str]) -> None:
    """The density at the printed temperature is the printed one, but for the gas constant."""
    density = air.density(air.standard_pressure(row[0]), row[2])

    Printed(TABLE, row[3], "kg/m3", 1.6e-5, GAS_CONSTANT).check(float(density))


@pytest.mark.law("air.viscosity", "air.conductivity")
@pytest.mark.parametrize("row", ROWS, ids=lambda row: f"{row[0]:g} m")
def test_transport(row: tuple[float, str, float, str, str, str]) -> None:
    """Viscosity and conductivity are the printed ones, but for the newer formulations."""
    viscosity = Printed(TABLE, row[4], "1e-5 Pa s", 0.004 * float(row[4]), OLDER)
    conductivity = Printed(TABLE, row[5], "1e-2 W/(m K)", 0.01 * float(row[5]), OLDER_TOO)

    viscosity.check(1e5 * air.viscosity(row[2]), "air.viscosity")
    conductivity.check(1e2 * air.conductivity(row[2]), "air.conductivity")


def test_equal_to_an_independent_atmosphere() -> None:
    """Equal to ambiance 1.3.1 at its geopotential altitudes."""
    expected = Atmosphere(np.linspace(-500.0, 5000.0, 12))

    AMBIANCE.check(air.standard_pressure(expected.H), expected.pressure)


@pytest.mark.parametrize("altitude", [0.0, 500.0, 1500.0, 3000.0])
def test_equal_to_psychrometrics(altitude: float) -> None:
    """Within 1 Pa of the rounded law of ASHRAE in psychrolib 2.5.0."""
    psychrolib.SetUnitSystem(psychrolib.SI)

    expected = psychrolib.GetStandardAtmPressure(altitude)

    ROUNDED.check(air.standard_pressure(altitude), expected)
