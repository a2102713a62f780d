"""Flow coefficients against a printed table, worked examples and an independent library."""

import math

import pytest
from fluids.control_valve import size_control_valve_l
from fluids.fittings import Cv_to_Kv

from loopmargin_service.physics.drop import from_kv
from tests.published.printed import Independent, Printed

pytestmark = pytest.mark.law("drop.from_kv")

TABLE = "The Engineering ToolBox, Water control valves, Kv over pressure drop and flow"
EXAMPLE = "The Engineering ToolBox, Liquid, steam and gas: flow factor Kv"
IEC = "IEC 60534-2-1, annex, example 1: water at 363 K, 360 m3/h from 680 to 220 kPa"
SIZING = Independent("fluids 1.3.1 `size_control_valve_l`, water of 999.10 kg/m3", rel=6e-4)
AMERICAN = Independent("definition of Cv, fluids 1.3.1 `Cv_to_Kv`", rel=1e-4)
GALLON = 3.785411784e-3
PSI = 6894.757293168
HOUR = 3600.0


def kv_needed(flow: float, pressure_drop: float, density: float) -> float:
    """Kv [m3/h] with which a part drops this much at this flow [SI]."""
    at_kv_of_one = float(from_kv(1.0 / HOUR, density).quadratic) * flow**2
    return math.sqrt(at_kv_of_one / pressure_drop)


@pytest.mark.parametrize(
    ("kilopascal", "mass_flow", "row"),
    [
        (1.0, 0.01, Printed(TABLE, "0.36", "m3/h")),
        (2.0, 0.05, Printed(TABLE, "1.27", "m3/h")),
        (5.0, 0.1, Printed(TABLE, "1.61", "m3/h")),
        (5.0, 0.4, Printed(TABLE, "6.44", "m3/h")),
        (10.0, 0.1, Printed(TABLE, "1.14", "m3/h")),
        (20.0, 0.05, Printed(TABLE, "0.4", "m3/h")),
        (30.0, 0.2, Printed(TABLE, "1.31", "m3/h")),
        (50.0, 0.1, Printed(TABLE, "0.51", "m3/h")),
        (2.0, 100.0, Printed(TABLE, "2545.58", "m3/h")),
        (300.0, 3000.0 / HOUR, Printed(EXAMPLE, "1.7", "m3/h")),
    ],
)
def test_table_of_water_valves(kilopascal: float, mass_flow: float, row: Printed) -> None:
    """Water through a valve drops what the table prints for its Kv."""
    row.check(kv_needed(mass_flow / 1000.0, 1e3 * kilopascal, 1000.0))


def test_example_of_the_standard() -> None:
    """The valve of the first example of the standard drops the pressure it is sized for."""
    row = Printed(IEC, "460", "kPa")
    drop = from_kv(165.0 / HOUR, 965.4)

    row.check(float(drop.quadratic) * 0.1**2 / 1e3)


def test_equal_to_an_independent_sizing() -> None:
    """The same Kv as by fluids 1.3.1 `size_control_valve_l`, but for its reference density.

    It takes water of 999.10 kg/m3 for one, where IEC 60534-1 has 1000: 0.05 % in Kv.
    """
    expected = size_control_valve_l(
        rho=965.4, Psat=70.1e3, Pc=22120e3, mu=3.1472e-4, P1=680e3, P2=220e3, Q=0.1,
        D1=0.15, D2=0.15, d=0.15, FL=0.9, Fd=0.46,
    )  # fmt: skip

    SIZING.check(kv_needed(0.1, 460e3, 965.4), expected)


def test_american_coefficient() -> None:
    """A Cv of 0.6 drops (1 / 0.6)^2 psi at one US gallon a minute.

    Definition of Cv; fluids 1.3.1 `Cv_to_Kv` converts, with constants of four digits.
    """
    drop = from_kv(Cv_to_Kv(0.6) / HOUR, 1000.0)

    pressure_drop = float(drop.quadratic) * (GALLON / 60.0) ** 2

    AMERICAN.check(pressure_drop / PSI, (1.0 / 0.6) ** 2)
