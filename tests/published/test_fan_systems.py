"""Fans on radiators and cases against closed forms, a root finder and the standard atmosphere.

The laws are those of similarity: flow as speed, pressure as speed squared and as density
(ISO 13348 and ISO 5801, from memory). The fans and cores are invented.
"""

import math

import fluids
import numpy as np
import pytest
from CoolProp.CoolProp import PropsSI
from scipy.interpolate import PchipInterpolator
from scipy.optimize import brentq

from loopmargin_service.physics import louvred_core
from loopmargin_service.physics.air_path import CASE, CURVE_DENSITY, ROOM, AirPath, fan_pressure
from loopmargin_service.physics.curve import falling_curve
from loopmargin_service.physics.radiator import AirStream
from tests.published.printed import Independent
from tests.unit.physics.bench_air import (
    CORE,
    CUBIC_METRE_PER_HOUR,
    FACE,
    ROOM_TEMPERATURE,
    air_flows,
    fan,
    outside,
    rated,
)

pytestmark = pytest.mark.law("air_path.fan_pressure")

PRESSURE, FREE_FLOW = 30.0, 110.0 * CUBIC_METRE_PER_HOUR
LINEAR, QUADRATIC = 6.0, 9.0
CLOSED = Independent("formula of a parabola against a quadratic drop", rel=1e-8)
ROOT = Independent("scipy 1.17.1 `brentq` on the written-out balance", rel=1e-7)


def crossing(ratio: float, denser: float = 1.0, pressure: float = PRESSURE) -> float:
    """Give the flow [m3/s] where p (s^2 - (Q/Q0)^2) meets a v + b v^2, by its formula."""
    linear = LINEAR / FACE
    square = denser * (QUADRATIC / FACE**2 + pressure / FREE_FLOW**2)
    root = math.sqrt(linear**2 + 4.0 * square * denser * pressure * ratio**2)
    return (root - linear) / (2.0 * square)


@pytest.mark.parametrize("rpm", [500.0, 1000.0, 1500.0, 2000.0])
def test_parabola_against_a_core(rpm: float) -> None:
    """At any speed the flow is the positive root of one quadratic equation."""
    path = outside(rated(linear=LINEAR, quadratic=QUADRATIC), fan(PRESSURE, 110.0))

    flow = air_flows([path], speed=rpm / 2000.0).flow[0, 0]

    CLOSED.check(flow / CURVE_DENSITY, crossing(rpm / 2000.0))


def test_speed_with_a_linear_part_counts_more_than_in_proportion() -> None:
    """From 1000 to 2000 rpm a core with a linear part passes more than twice the air."""
    path = outside(rated(linear=LINEAR, quadratic=QUADRATIC), fan(PRESSURE, 110.0))

    flow = air_flows([path], speed=np.array([0.5, 1.0])).flow[0]

    assert 2.0 < flow[1] / flow[0] < 2.4


def test_quadratic_systems_follow_the_fan_laws() -> None:
    """From 1500 to 1000 rpm flow falls to 2/3 and pressure to 4/9, to the printed digits."""
    path = outside(rated(linear=0.0, quadratic=QUADRATIC), fan(PRESSURE, 110.0))
    flow = air_flows([path], speed=np.array([0.75, 0.5])).flow[0]
    density = np.full(2, CURVE_DENSITY)

    stream = AirStream(flow, density, np.full(2, ROOM_TEMPERATURE))
    pressure, _ = fan_pressure(path, fan(PRESSURE, 110.0), stream, np.array([0.75, 0.5]))

    similarity = "similarity of fans at 1500 and 1000 rpm, exact"
    Independent(similarity, abs=5e-7).check(flow[1] / flow[0], 2.0 / 3.0)
    Independent(similarity, abs=5e-7).check(pressure[1] / pressure[0], 4.0 / 9.0)


@pytest.mark.parametrize("altitude", [500.0, 1000.0, 2000.0, 3000.0])
def test_thin_air(altitude: float) -> None:
    """With height the volume flow falls a little, since the linear part of the core does not.

    Pressure by the standard atmosphere of fluids 1.3.1, at the temperature of the room.
    """
    pressure = fluids.ATMOSPHERE_1976(altitude).P
    denser = pressure / fluids.ATMOSPHERE_1976(0.0).P
    path = outside(rated(linear=LINEAR, quadratic=QUADRATIC), fan(PRESSURE, 110.0))

    flow = air_flows([path], denser * CURVE_DENSITY).flow[0, 0] / (denser * CURVE_DENSITY)

    CLOSED.check(flow, crossing(1.0, denser))
    assert 0.9 * crossing(1.0) < flow < crossing(1.0)


def test_thin_air_in_a_quadratic_system() -> None:
    """Without a linear part the volume flow is the same at any height."""
    path = outside(rated(linear=0.0, quadratic=QUADRATIC), fan(PRESSURE, 110.0))
    density = np.array([1.0, 0.784556]) * CURVE_DENSITY

    flow = air_flows([path], density).flow[0] / density

    assert flow[1] == pytest.approx(flow[0], rel=1e-8)


def test_twice_the_pressure_is_two_fans_in_series() -> None:
    """Two ideal fans behind each other give the flow of the formula with twice the pressure."""
    path = outside(rated(linear=LINEAR, quadratic=QUADRATIC), fan(2.0 * PRESSURE, 110.0))

    flow = air_flows([path]).flow[0, 0] / CURVE_DENSITY

    CLOSED.check(flow, crossing(1.0, pressure=2.0 * PRESSURE))


@pytest.mark.parametrize("ratio", [0.3, 0.6, 1.0])
@pytest.mark.parametrize("denser", [0.75, 1.0])
def test_measured_fan_against_a_louvred_core(ratio: float, denser: float) -> None:
    """A fan by points meets a core and a grille where scipy's PCHIP and root finder say."""
    points = np.array([0.0, 30.0, 55.0, 80.0, 110.0]) * CUBIC_METRE_PER_HOUR
    heads = np.array([32.0, 21.0, 17.0, 9.0, 0.0])
    area, density = CORE.face_area, denser * CURVE_DENSITY
    measured = PchipInterpolator(points, heads)

    def excess(volume: float) -> float:
        velocity = volume / area
        lost = 2.0 * 0.5 * density * velocity**2 + float(
            louvred_core.air_pressure_drop(CORE.core, velocity, density, ROOM_TEMPERATURE)
        )
        return float(denser * ratio**2 * measured(volume / (3.0 * ratio))) - lost

    expected = brentq(excess, 1e-6, 3.0 * ratio * points[-1], xtol=1e-15)
    path = AirPath(area, ROOM, ROOM, 2.0, CORE, falling_curve(points, heads), 3)

    flow = air_flows([path], density, speed=ratio).flow[0, 0] / density

    ROOT.check(flow, expected)


def test_radiators_in_and_fans_out() -> None:
    """Three ways at one case meet at the pressure that one equation for the case gives.

    Blown in through a core, drawn out by a fan, the rest through a hole; all quadratic.
    """
    intake, exhaust = (30.0, 110.0), (12.0, 90.0)
    core, grille, hole = QUADRATIC / FACE**2, 1.5, 3.0
    paths = [
        AirPath(FACE, ROOM, CASE, 0.0, rated(linear=0.0), fan(*intake), 1),
        AirPath(0.0113, CASE, ROOM, grille, None, fan(*exhaust), 1),
        AirPath(0.001, ROOM, CASE, hole),
    ]

    def through(pressure: float, own: tuple[float, float], resistance: float) -> float:
        steepness = own[0] / (own[1] * CUBIC_METRE_PER_HOUR) ** 2
        return math.sqrt((own[0] + pressure) / (steepness + resistance))

    def surplus(case: float) -> float:
        out = through(case, exhaust, 0.5 * grille * CURVE_DENSITY / 0.0113**2)
        leak = math.sqrt(abs(case) / (0.5 * hole * CURVE_DENSITY / 0.001**2))
        return through(-case, intake, core) - out - math.copysign(leak, case)

    expected = brentq(surplus, -11.9, 29.9, xtol=1e-13)

    found = air_flows(paths)

    Independent("scipy 1.17.1 `brentq`, pressure of the case", rel=1e-6).check(
        found.pressure[1, 0], expected
    )
    ROOT.check(found.flow[0, 0] / CURVE_DENSITY, through(-expected, intake, core))


def test_density_of_the_curves() -> None:
    """Curves are stated in dry air of 20 degC at sea level: CoolProp 8.0.0 has 0.05 % more."""
    expected = PropsSI("Dmass", "T", 293.15, "P", 101325.0, "Air")

    assert expected == pytest.approx(CURVE_DENSITY, rel=1e-3)
