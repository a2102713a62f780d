"""Air in tubes: the printed laws, their classical limits, and a rule of the trade."""

import numpy as np
import pytest
from scipy.constants import g as gravity

from loopmargin_service.physics.air_carry import slug_rise_velocity, velocity_to_clear_pockets
from tests.published.printed import Independent, Printed

pytestmark = pytest.mark.law("air_carry.slug_rise_velocity")

DENSITY, VISCOSITY, TENSION = 997.05, 8.9e-4, 0.0720
DUMITRESCU = "D. T. Dumitrescu, Z. angew. Math. Mech. 23 (1943), from memory"
BEARDMORE = "E. T. White and R. H. Beardmore, Chem. Eng. Sci. 17 (1962), from memory"
TAYLOR = "R. M. Davies and G. I. Taylor, Proc. R. Soc. A 200 (1950), from memory"
SANKS = "Wisner et al. 1975 as printed in Sanks, Pumping Station Design"
VIANA = Independent("Viana et al. 2003, law printed in the abstract for R > 200", rel=1e-3)
THICK = Independent("Viana et al. 2003, law printed in the abstract for R < 10", rel=0.10)
WALLIS = Independent("Wallis 1969, constants from memory", rel=0.20)
SPREAD = "theory or fit of another author; the laws spread by 5 %"


def froude_of_slug(eotvos: float, reynolds: float) -> float:
    """Rise over the root of g times bore, of any fluid with these two numbers."""
    tension = DENSITY * gravity * 0.01**2 / eotvos
    viscosity = DENSITY * np.sqrt(gravity * 0.01**3) / reynolds
    rise = slug_rise_velocity(0.01, DENSITY, viscosity, tension)
    return float(rise / np.sqrt(gravity * 0.01))


@pytest.mark.parametrize("bore", [0.006, 0.008, 0.010, 0.0127, 0.016])
def test_slug_in_water_follows_the_printed_law(bore: float) -> None:
    """At large buoyancy Reynolds number the rise is the law of Viana et al.'s abstract.

    The general law of the paper leads into it within 0.1 % for water in tubes of 6 to 16 mm.
    """
    eotvos = DENSITY * gravity * bore**2 / TENSION

    rise = slug_rise_velocity(bore, DENSITY, VISCOSITY, TENSION)

    froude = 0.34 / (1.0 + 3805.0 / eotvos**3.06) ** 0.58
    VIANA.check(rise / np.sqrt(gravity * bore), froude)


@pytest.mark.parametrize("eotvos", [15.0, 30.0, 100.0, 1000.0])
@pytest.mark.parametrize("reynolds", [1.0, 5.0, 9.0])
def test_slug_in_thick_liquid_follows_the_printed_law(eotvos: float, reynolds: float) -> None:
    """At small buoyancy Reynolds number the rise is the abstract's second law within 10 %."""
    printed = 9.494e-3 / (1.0 + 6197.0 / eotvos**2.561) ** 0.5793 * reynolds**1.026

    THICK.check(froude_of_slug(eotvos, reynolds), printed)


@pytest.mark.parametrize(
    "row",
    [
        Printed(DUMITRESCU, "0.351", "1", 0.05 * 0.351, SPREAD),
        Printed(BEARDMORE, "0.345", "1", 0.05 * 0.345, SPREAD),
        Printed(TAYLOR, "0.328", "1", 0.05 * 0.328, SPREAD),
    ],
)
def test_slug_in_a_wide_pipe(row: Printed) -> None:
    """Without viscosity and surface tension the rise is the classical share of root g d."""
    row.check(froude_of_slug(1e5, 1e6))


def test_slug_in_a_capillary_stands_still() -> None:
    """At the bore below which Bretherton's bubble does not rise, 3 % of root g d are left.

    F. P. Bretherton, J. Fluid Mech. 10 (1961): rho g r^2 / sigma = 0.842, from memory.
    """
    bore = 2.0 * np.sqrt(0.842 * TENSION / (DENSITY * gravity))

    rise = slug_rise_velocity(bore, DENSITY, VISCOSITY, TENSION)

    assert float(rise / np.sqrt(gravity * bore)) < 0.03


@pytest.mark.parametrize("bore", [0.008, 0.010, 0.0127, 0.016])
def test_slug_is_near_to_wallis(bore: float) -> None:
    """From 8 to 16 mm the rise is within 20 % of Wallis 1969, whose constants are from memory."""
    eotvos = DENSITY * gravity * bore**2 / TENSION
    wallis = 0.345 * (1.0 - np.exp((3.37 - eotvos) / 10.0)) * np.sqrt(gravity * bore)

    rise = slug_rise_velocity(bore, DENSITY, VISCOSITY, TENSION)

    WALLIS.check(rise, wallis)


@pytest.mark.law("air_carry.velocity_to_clear_pockets")
@pytest.mark.parametrize(
    ("degrees", "row"),
    [(0.0, Printed(SANKS, "0.825", "1")), (90.0, Printed(SANKS, "1.075", "1"))],
)
def test_clearing_velocity(degrees: float, row: Printed) -> None:
    """A level tube clears at 0.825 and a vertical one at 0.825 + 0.25 times root g d."""
    bore = 0.0127

    velocity = velocity_to_clear_pockets(bore, np.radians(degrees))

    row.check(float(velocity / np.sqrt(gravity * bore)))


def test_the_rule_of_two_feet_a_second_is_safe_in_narrow_tube() -> None:
    """0.6 m/s, common practice in heating, no source, clears any tube up to 16 mm and more."""
    bore = np.array([0.006, 0.010, 0.016, 0.025])

    assert (velocity_to_clear_pockets(bore, 0.5 * np.pi) < 0.6).all()
