"""Glycol in water against an independent evaluation of the same tables, and other tables."""

import numpy as np
import pytest
from CoolProp.CoolProp import PropsSI

from loopmargin_service.physics import coolant
from loopmargin_service.physics.glycol import Glycol
from tests.published.printed import Independent

pytestmark = pytest.mark.law("coolant.properties")

MELINDER = Independent("CoolProp 8.0.0 INCOMP::MEG and ::MPG, tables of Melinder", rel=1e-6)
FREEZING = Independent("CoolProp 8.0.0 T_FREEZE, tables of Melinder", abs=1e-3)
OTHER = [
    Independent(f"CoolProp 8.0.0 INCOMP::AEG and ::APG, tables of ASHRAE, {what}", rel=off)
    for what, off in (
        ("density", 0.01),
        ("viscosity", 0.07),
        ("heat capacity", 0.015),
        ("conductivity", 0.02),
    )
]

NAMES: dict[Glycol, str] = {"ethylene_glycol": "MEG", "propylene_glycol": "MPG"}
OTHER_TABLES: dict[Glycol, str] = {"ethylene_glycol": "AEG", "propylene_glycol": "APG"}
DENSITY_AT_20_CELSIUS: dict[Glycol, float] = {"ethylene_glycol": 1113.0, "propylene_glycol": 1036.0}
LETTERS = ("D", "V", "C", "L")
FRACTIONS = (0.05, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6)


def reference(fluid: str, temperature: float) -> list[float]:
    """Density, viscosity, heat capacity and conductivity by CoolProp."""
    return [PropsSI(letter, "T", temperature, "P", 101325, fluid) for letter in LETTERS]


@pytest.mark.parametrize("fluid", NAMES)
@pytest.mark.parametrize("mass_fraction", FRACTIONS)
def test_equal_to_coolprop(fluid: Glycol, mass_fraction: float) -> None:
    """All four properties equal CoolProp 8.0.0, INCOMP::MEG and ::MPG, from freezing to 95 degC."""
    freezing = float(coolant.freezing_temperature(fluid, mass_fraction))
    temperature = np.arange(freezing + 0.5, 368.0, 9.0)

    found = np.array(coolant.properties(fluid, mass_fraction, temperature)).T

    name = f"INCOMP::{NAMES[fluid]}[{mass_fraction}]"
    for row, kelvin in zip(found, temperature, strict=True):
        MELINDER.check(row, reference(name, kelvin))


@pytest.mark.law("coolant.freezing_temperature")
@pytest.mark.parametrize("fluid", NAMES)
@pytest.mark.parametrize("mass_fraction", FRACTIONS)
def test_freezing_equal_to_coolprop(fluid: Glycol, mass_fraction: float) -> None:
    """The freezing temperature equals CoolProp 8.0.0 to a millikelvin."""
    name = f"INCOMP::{NAMES[fluid]}[{mass_fraction}]"

    expected = PropsSI("T_FREEZE", "T", 293.15, "P", 101325, name)

    FREEZING.check(coolant.freezing_temperature(fluid, mass_fraction), expected)


@pytest.mark.parametrize("fluid", NAMES)
@pytest.mark.parametrize("mass_fraction", [0.2, 0.3, 0.4, 0.5])
@pytest.mark.parametrize("celsius", [20.0, 40.0, 60.0])
def test_near_the_tables_of_ashrae(fluid: Glycol, mass_fraction: float, celsius: float) -> None:
    """The stated uncertainty covers the other tables in CoolProp 8.0.0, INCOMP::AEG and ::APG.

    Those take a volume fraction, here from densities of the pure glycols at 20 degC that are
    from memory.
    """
    glycol = mass_fraction / DENSITY_AT_20_CELSIUS[fluid]
    volume_fraction = glycol / (glycol + (1.0 - mass_fraction) / 998.2)
    name = f"INCOMP::{OTHER_TABLES[fluid]}[{volume_fraction}]"

    found = coolant.properties(fluid, mass_fraction, celsius + 273.15)

    for other, value, expected in zip(OTHER, found, reference(name, celsius + 273.15), strict=True):
        # The deviation stated is a share of our value.
        other.check(expected, value)
