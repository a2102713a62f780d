"""Liquid water against the release it follows, a handbook table, and independent libraries."""

from collections.abc import Callable

import numpy as np
import pytest
from CoolProp.CoolProp import PropsSI
from iapws import IAPWS95
from numpy.typing import NDArray

from loopmargin_service.physics import coolant, water
from tests.published.printed import Independent, Printed

pytestmark = pytest.mark.law("coolant.properties")

Law = Callable[[NDArray[np.float64]], NDArray[np.float64]]

RELEASE = "IAPWS SR6-08(2011), table 8, as carried by the tests of several public libraries"
PERRY = "Perry's Chemical Engineers' Handbook, 9th ed., table 2-135, saturated liquid"
SATURATION = "IAPWS SR1-86(1992), table 1, from memory"
QUICK = Independent("check values of the release, behind the interpolants", rel=2e-8)
WIDE_DENSITY = Independent("iapws 1.5.5, IAPWS-95", rel=1e-5)
WIDE = Independent("iapws 1.5.5, IAPWS-95, R12-08 and R15-11", rel=1e-4)
STATE = Independent("CoolProp 8.0.0, equation of state", rel=1e-4)
MOLAR_MASS = 18.015268e-3

RELEASE_ROWS = [
    (260.0, "997.068360", "4300.17472", "3058.36075", "0.515628010"),
    (298.15, "997.047013", "4181.44618", "889.996774", "0.606502308"),
    (375.0, "957.009710", "4217.74697", "276.207245", "0.677913788"),
]
# Temperature, density, heat capacity, conductivity, viscosity and vapour pressure.
PERRY_ROWS = [
    (280.0, "55.501", "0.075688", "574.04", "1433.7", "0.000992"),
    (290.0, "55.440", "0.075429", "592.73", "1084.0", "0.001920"),
    (300.0, "55.315", "0.075320", "610.28", "853.84", "0.003537"),
    (310.0, "55.139", "0.075294", "626.05", "693.54", "0.006231"),
    (320.0, "54.919", "0.075317", "639.71", "577.02", "0.010546"),
    (330.0, "54.662", "0.075373", "651.18", "489.49", "0.017213"),
    (340.0, "54.371", "0.075456", "660.55", "421.97", "0.027188"),
    (350.0, "54.049", "0.075567", "668.00", "368.77", "0.041682"),
    (360.0, "53.698", "0.075708", "673.76", "326.10", "0.062194"),
]
SATURATED = "printed at vapour pressure, computed at 0.1 MPa: compression is worth 0.005 %"
HEAT = "printed at vapour pressure, computed at 0.1 MPa, and rounded to 1e-6"
OLDER_CONDUCTIVITY = "the handbook has the formulation before R15-11, up to 0.52 % above"
OLDER_VISCOSITY = "the handbook has the formulation before R12-08, up to 0.09 % above"
EARLIER = "SR1-86 and the equation of state of the handbook differ by up to 0.03 %"


def at(law: Law, temperature: float) -> float:
    """Value of a law at one temperature."""
    return float(law(np.array(temperature)))


@pytest.mark.law("water.density", "water.heat_capacity", "water.viscosity", "water.conductivity")
@pytest.mark.parametrize(
    ("law", "column", "scale", "unit"),
    [
        (water.density, 1, 1.0, "kg/m3"),
        (water.heat_capacity, 2, 1.0, "J/(kg K)"),
        (water.viscosity, 3, 1e6, "uPa s"),
        (water.conductivity, 4, 1.0, "W/(m K)"),
    ],
)
@pytest.mark.parametrize("row", RELEASE_ROWS, ids=lambda row: f"{row[0]} K")
def test_check_values_of_the_release(
    row: tuple[float, str, str, str, str], law: Law, column: int, scale: float, unit: str
) -> None:
    """Each law gives every digit of the check values of its own release."""
    Printed(RELEASE, str(row[column]), unit).check(scale * at(law, row[0]), f"water.{law.__name__}")


@pytest.mark.parametrize("row", RELEASE_ROWS[1:], ids=lambda row: f"{row[0]} K")
def test_the_quick_way_keeps_seven_digits(row: tuple[float, str, str, str, str]) -> None:
    """The interpolants behind `properties` stay within 2e-8 of the release's check values."""
    found = coolant.properties("water", 0.0, row[0])

    QUICK.check(found, [float(row[1]), 1e-6 * float(row[3]), float(row[2]), float(row[4])])


@pytest.mark.law("water.density", "water.heat_capacity")
@pytest.mark.parametrize("row", PERRY_ROWS, ids=lambda row: f"{row[0]} K")
def test_handbook_density_and_heat_capacity(row: tuple[float, str, str, str, str, str]) -> None:
    """Density and heat capacity are those of a handbook, but for the pressure."""
    density = Printed(PERRY, row[1], "mol/dm3", 0.003, SATURATED)
    heat = Printed(PERRY, row[2], "kJ/(mol K)", 1e-5, HEAT)

    density.check(1e-3 * at(water.density, row[0]) / MOLAR_MASS, "water.density")
    heat.check(1e-3 * at(water.heat_capacity, row[0]) * MOLAR_MASS, "water.heat_capacity")


@pytest.mark.law("water.viscosity", "water.conductivity")
@pytest.mark.parametrize("row", PERRY_ROWS, ids=lambda row: f"{row[0]} K")
def test_handbook_transport(row: tuple[float, str, str, str, str, str]) -> None:
    """Conductivity and viscosity are those of a handbook, but for its older formulations."""
    conductivity = Printed(PERRY, row[3], "mW/(m K)", 0.0052 * float(row[3]), OLDER_CONDUCTIVITY)
    viscosity = Printed(PERRY, row[4], "uPa s", 0.0009 * float(row[4]), OLDER_VISCOSITY)

    conductivity.check(1e3 * at(water.conductivity, row[0]), "water.conductivity")
    viscosity.check(1e6 * at(water.viscosity, row[0]), "water.viscosity")


@pytest.mark.law("water.saturation_pressure", "coolant.saturation_pressure")
@pytest.mark.parametrize("row", PERRY_ROWS, ids=lambda row: f"{row[0]} K")
def test_handbook_vapour_pressure(row: tuple[float, str, str, str, str, str]) -> None:
    """The vapour pressure is that of a handbook, but for the equation of state."""
    allowed = max(0.5e-6, 3e-4 * float(row[5]))

    printed = Printed(PERRY, row[5], "MPa", allowed, EARLIER)

    printed.check(1e-6 * float(coolant.saturation_pressure(row[0])), "coolant.saturation_pressure")
    printed.check(1e-6 * at(water.saturation_pressure, row[0]), "water.saturation_pressure")


@pytest.mark.law("water.saturation_pressure")
@pytest.mark.parametrize(
    ("temperature", "printed"),
    [
        (273.16, Printed(SATURATION, "611.657", "Pa")),
        (373.1243, Printed(SATURATION, "101325", "Pa")),
        (647.096, Printed(SATURATION, "22064000", "Pa")),
    ],
)
def test_vapour_pressure_of_the_release(temperature: float, printed: Printed) -> None:
    """The vapour pressure runs through triple, boiling and critical point."""
    printed.check(at(water.saturation_pressure, temperature))


@pytest.mark.parametrize("temperature", np.arange(273.16, 368.2, 13.5))
def test_equal_to_the_wide_formulations(temperature: float) -> None:
    """Within 0.01 % of IAPWS-95, R12-08 and R15-11 by iapws 1.5.5 from 0 to 95 degC."""
    expected = IAPWS95(T=temperature, P=0.101325)

    found = coolant.properties("water", 0.0, temperature)

    WIDE_DENSITY.check(found.density, expected.rho)
    WIDE.check(
        [found.viscosity, found.heat_capacity, found.conductivity],
        [expected.mu, expected.cp * 1e3, expected.k],
    )


@pytest.mark.law("coolant.saturation_pressure")
@pytest.mark.parametrize("temperature", [275.0, 293.15, 313.15, 333.15, 365.0])
def test_vapour_pressure_equal_to_coolprop(temperature: float) -> None:
    """Within 0.01 % of the equation of state in CoolProp 8.0.0."""
    expected = PropsSI("P", "T", temperature, "Q", 0, "Water")

    STATE.check(coolant.saturation_pressure(temperature), expected)
