"""Suction head against worked examples and against the properties of water."""

import numpy as np
import pytest
from CoolProp.CoolProp import PropsSI
from scipy.constants import g as gravity

from loopmargin_service.physics.suction import available_suction_head
from tests.published.printed import Printed

pytestmark = pytest.mark.law("suction.available_suction_head")

FOOT = 0.3048
PSI = 6894.757293168
WATER = 62.4 * 0.45359237 / FOOT**3
SPELLMAN = "Handbook of water and wastewater treatment (Spellman, the title from memory)"
TANK = f"{SPELLMAN}, NPSHA of an atmospheric tank"
LIFT = f"{SPELLMAN}, example 10.11, suction lift from an open reservoir"
DRAIN = "Know and Understand Centrifugal Pumps (Bachus, the title from memory), tank under drain"


@pytest.mark.parametrize(
    ("level", "row"), [(15.0, Printed(TANK, "46", "ft")), (-20.0, Printed(LIFT, "11", "ft"))]
)
def test_tank_and_lift(level: float, row: Printed) -> None:
    """Water at 60 F under 14.7 psi with 2.4 ft of losses has the printed suction head."""
    head = available_suction_head(14.7 * PSI, 0.256 * PSI, WATER, level * FOOT, 2.4 * FOOT)

    row.check(float(head) / FOOT)


def test_tank_under_drain() -> None:
    """Heads of 33.9, 6.0, 0.839, 2.0 and 2.0 ft add up to the printed suction head."""
    row = Printed(DRAIN, "35.061", "ft")
    head_of_foot = 998.0 * gravity * FOOT

    head = available_suction_head(
        33.9 * head_of_foot, 0.839 * head_of_foot, 998.0, 6.0 * FOOT, 4.0 * FOOT
    )

    row.check(float(head) / FOOT)


@pytest.mark.parametrize("celsius", [20.0, 60.0, 90.0])
def test_lift_at_which_water_boils(celsius: float) -> None:
    """The suction head vanishes at the lift that brings water to boil (CoolProp 8.0.0)."""
    kelvin = celsius + 273.15
    boiling = PropsSI("P", "T", kelvin, "Q", 0, "Water")
    density = PropsSI("D", "T", kelvin, "P", 101325.0, "Water")
    lift = (101325.0 - boiling) / (density * gravity)

    heads = available_suction_head(
        101325.0, boiling, density, -lift * np.array([0.999, 1.001]), 0.0
    )

    assert heads[0] > 0.0 > heads[1]
