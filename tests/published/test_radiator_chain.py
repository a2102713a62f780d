"""From fin to radiator: each link against a library or an equation solved anew.

The core is that of the fin laws; rated points and streams are invented.
"""

import ht
import numpy as np
import pytest
from CoolProp.CoolProp import PropsSI
from fluids.core import Reynolds
from scipy.integrate import solve_bvp

from loopmargin_service.physics import (
    air,
    exchanger,
    flat_tube,
    louvred_core,
    louvred_fin,
    radiator,
    rated_radiator,
)
from loopmargin_service.physics.coolant import properties
from tests.published.printed import Independent, Printed
from tests.published.test_louvred_fin_laws import COMMON, HEAT, STEP, slope

FIN = Independent("equation of the fin by scipy 1.17.1 `solve_bvp`", rel=1e-4)
DEFINITION = Independent("fluids 1.3.1 `Reynolds`, viscosity by CoolProp 8.0.0", rel=3e-4)
FANNING = Independent("Fanning's definition, surface and free area counted by hand", rel=1e-9)
SERIES = Independent("heat passed on from wall to wall until it balances", rel=1e-9)
GNIELINSKI = Independent("ht 1.2.0 `turbulent_Gnielinski` with its entrance term", rel=1e-6)
NTU = Independent("ht 1.2.0 `NTU_from_effectiveness`", rel=1e-6)
EFFECTIVENESS = Independent("ht 1.2.0 `effectiveness_from_NTU`", rel=1e-6)
PASSED_ON = Independent("coolant followed from one ht 1.2.0 exchanger to the next", rel=1e-6)
BALANCE = Independent("heat balance of the rated point", rel=1e-9)
RESISTANCES = Independent("two resistances in series, scaled by hand", rel=1e-9)


def crossflow(ua: float, *rates: float) -> float:
    """Conductance between the inlets of a crossflow exchanger, by ht 1.2.0."""
    weaker, stronger = sorted(rates)
    return float(ht.effectiveness_from_NTU(ua / weaker, weaker / stronger, "crossflow") * weaker)


@pytest.mark.law("louvred_fin.colburn_factor")
@pytest.mark.parametrize("reynolds", [150.0, 300.0, 1000.0])
def test_exponent_of_the_reynolds_number(reynolds: float) -> None:
    """Where Chang and Wang hold, the factor falls with the printed power."""
    before, after = (
        float(louvred_fin.colburn_factor(COMMON, ratio * reynolds)) for ratio in (1.0, STEP)
    )

    Printed(HEAT, "-0.49", "1").check(slope(before, after))


@pytest.mark.law("louvred_core.reynolds")
@pytest.mark.parametrize("velocity", [0.3, 1.0, 3.0])
def test_reynolds_number(velocity: float) -> None:
    """Velocity between the fins, louvre pitch, and CoolProp's viscosity."""
    viscosity = PropsSI("V", "T", 308.15, "P", 101325.0, "Air")
    between = velocity / COMMON.free_area_ratio

    DEFINITION.check(
        louvred_core.reynolds(COMMON, velocity, 1.15, 308.15),
        Reynolds(between, COMMON.louvre_pitch, 1.15, viscosity),
    )


@pytest.mark.law("louvred_core.surface_efficiency")
@pytest.mark.parametrize("coefficient", [20.0, 80.0, 200.0])
def test_efficiency_of_the_surface(coefficient: float) -> None:
    """Half a fin, hot at the tube and without heat flow at its middle, in the steady state."""
    half = 0.5 * (COMMON.tube_pitch - COMMON.tube_thickness)
    around = 2.0 * (COMMON.depth + COMMON.fin_thickness)
    section = COMMON.depth * COMMON.fin_thickness
    decay = coefficient * around / (COMMON.fin_conductivity * section)
    x = np.linspace(0.0, half, 41)
    solution = solve_bvp(
        lambda _x, t: np.array([t[1], decay * t[0]]),
        lambda left, right: np.array([left[0] - 1.0, right[1]]),
        x,
        np.array([np.ones_like(x), np.zeros_like(x)]),
        tol=1e-8,
    )
    fin = -solution.sol(0.0)[1] / (decay * half)

    found = louvred_core.surface_efficiency(COMMON, np.array(coefficient))

    FIN.check(found, 1.0 - COMMON.fin_share + COMMON.fin_share * fin)


@pytest.mark.law("louvred_core.air_pressure_drop")
@pytest.mark.parametrize("velocity", [0.5, 1.5, 4.0])
def test_pressure_drop_of_the_core(velocity: float) -> None:
    """Shear on all that the air touches over the area it is free to pass."""
    density, kelvin = 1.15, 308.15
    between = velocity / COMMON.free_area_ratio
    factor = louvred_fin.friction_factor(
        COMMON, louvred_core.reynolds(COMMON, velocity, density, kelvin)
    )
    shear = factor * 0.5 * density * between**2
    free = COMMON.free_area_ratio * COMMON.face_width * COMMON.face_height

    FANNING.check(
        louvred_core.air_pressure_drop(COMMON, velocity, density, kelvin),
        shear * COMMON.air_area / free,
    )


@pytest.mark.law("flat_tube.nusselt")
@pytest.mark.parametrize(("reynolds", "prandtl"), [(4e3, 4.3), (1e4, 5.0), (5e4, 7.0)])
def test_turbulent_coolant(reynolds: float, prandtl: float) -> None:
    """In a tube of 100 hydraulic diameters the entrance adds (1/100)^(2/3)."""
    friction = (0.79 * np.log(reynolds) - 1.64) ** -2
    expected = ht.turbulent_Gnielinski(reynolds, prandtl, friction) * (1.0 + 100.0 ** (-2.0 / 3.0))

    GNIELINSKI.check(flat_tube.nusselt(reynolds, prandtl, 100.0, 0.1), expected)


@pytest.mark.law("louvred_core.liquid_coefficient")
def test_coefficient_of_turbulent_coolant() -> None:
    """So much water that it is turbulent in each of the tubes, by the library."""
    water = properties("water", 0.0, 313.15)
    flow, (thickness, width) = 4.0, COMMON.tube_bore
    diameter = 2.0 * thickness * width / (thickness + width)
    tubes = round(COMMON.face_height / COMMON.tube_pitch) / COMMON.passes
    reynolds = flow / (tubes * thickness * width) * diameter / float(water.viscosity)
    prandtl = float(water.viscosity * water.heat_capacity / water.conductivity)
    friction = (0.79 * np.log(reynolds) - 1.64) ** -2
    nusselt = ht.turbulent_Gnielinski(reynolds, prandtl, friction)
    nusselt *= 1.0 + (diameter / COMMON.face_width) ** (2.0 / 3.0)

    assert reynolds > flat_tube.TURBULENT_LIMIT
    GNIELINSKI.check(
        louvred_core.liquid_coefficient(COMMON, flow, water),
        nusselt * float(water.conductivity) / diameter,
    )


@pytest.mark.law("louvred_core.conductance")
@pytest.mark.parametrize("velocity", [0.5, 2.0])
def test_walls_in_series(velocity: float) -> None:
    """At 1 K between coolant and air the two faces of the wall settle where all heats agree."""
    density, kelvin, flow = 1.15, 308.15, 0.05
    water = properties("water", 0.0, 313.15)
    number = louvred_core.reynolds(COMMON, velocity, density, kelvin)
    prandtl = air.viscosity(kelvin) * air.HEAT_CAPACITY / air.conductivity(kelvin)
    flux = density * velocity / COMMON.free_area_ratio
    coefficient = np.asarray(
        louvred_fin.colburn_factor(COMMON, number)
        * flux * air.HEAT_CAPACITY * prandtl ** (-2.0 / 3.0)
    )  # fmt: skip
    outer = louvred_core.surface_efficiency(COMMON, coefficient) * coefficient * COMMON.air_area
    inner = louvred_core.liquid_coefficient(COMMON, flow, water) * COMMON.liquid_area
    wall = COMMON.tube_conductivity * COMMON.liquid_area / COMMON.tube_wall
    balance = np.array([[inner + wall, -wall], [-wall, wall + outer]], dtype=np.float64)
    faces = np.linalg.solve(balance, np.array([float(inner), 0.0]))

    SERIES.check(
        louvred_core.conductance(COMMON, velocity, density, kelvin, flow, water),
        outer * faces[1],
    )


RATING = rated_radiator.Rating(40.0, 60.0, 280.0, 60.0 / 1006.5, 280.0 / 4180.0)


@pytest.mark.law("rated_radiator.rated_ua")
def test_ua_of_a_rated_point() -> None:
    """The transfer units of the rated effectiveness are the library's."""
    expected = ht.NTU_from_effectiveness(40.0 / 60.0, 60.0 / 280.0, "crossflow") * 60.0

    NTU.check(rated_radiator.rated_ua(RATING), expected)


@pytest.mark.law("rated_radiator.scaled_ua")
@pytest.mark.parametrize(("less_air", "more_liquid"), [(1.0, 1.0), (0.5, 1.0), (0.5, 2.0)])
def test_ua_at_other_flows(less_air: float, more_liquid: float) -> None:
    """Three quarters of the resistance on the air, with Chang and Wang's 1 - 0.49 rounded."""
    outer, inner = 0.75 / 100.0 / less_air**0.5, 0.25 / 100.0 / more_liquid**0.15

    found = rated_radiator.scaled_ua(
        RATING, 100.0, less_air * RATING.air_flow, more_liquid * RATING.liquid_flow, 1.0
    )

    RESISTANCES.check(found, 1.0 / (outer + inner))


@pytest.mark.law("radiator.conductance")
@pytest.mark.parametrize("share", [1.0, 0.5, 0.2])
def test_radiator_at_other_air_flows(share: float) -> None:
    """A rated section at part of its air has the library's effectiveness."""
    water = properties("water", 0.0, np.array([313.15]))
    ua = float(rated_radiator.rated_ua(RATING))
    section = radiator.RatedSection(
        0.04, RATING, ua, float(water.conductivity[0]), 0.0, 5.0, 1.8e-5, 1.2
    )
    flow = share * RATING.air_flow
    stream = radiator.AirStream(*(np.array([v]) for v in (flow, 1.2, 298.15)))
    scaled = 1.0 / (0.75 / ua / share**0.5 + 0.25 / ua)

    found = radiator.conductance(section, stream, np.array([RATING.liquid_flow]), water)

    liquid = RATING.liquid_flow * float(water.heat_capacity[0])
    EFFECTIVENESS.check(found, crossflow(scaled, flow * air.HEAT_CAPACITY, liquid))


@pytest.mark.law("exchanger.series_conductance")
@pytest.mark.parametrize("liquid", [50.0, 120.0, 300.0])
def test_radiators_in_series(liquid: float) -> None:
    """The second gets what the first left."""
    parts = [crossflow(60.0, 40.0, liquid), crossflow(90.0, 55.0, liquid)]
    temperature = 1.0
    for part in parts:
        temperature -= part * temperature / liquid

    PASSED_ON.check(exchanger.series_conductance(parts, liquid), liquid * (1.0 - temperature))


@pytest.mark.law("exchanger.rating_to_inlet_basis")
@pytest.mark.parametrize(
    ("basis", "share"), [("coolant_inlet", 0.0), ("coolant_mean", 0.5), ("coolant_outlet", 1.0)]
)
def test_other_bases_of_a_rating(basis: exchanger.Basis, share: float) -> None:
    """1 kW leaves a stream of 200 W/K 5 K colder; its mean and outlet are reckoned from there."""
    entering = 25.0
    stated = 1000.0 / (entering - share * 5.0)

    BALANCE.check(exchanger.rating_to_inlet_basis(stated, basis, 200.0), 1000.0 / entering)
