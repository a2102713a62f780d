"""Radiators, fans and openings on the bench, and the air between room and case. Invented data."""

from collections.abc import Sequence

import numpy as np

from loopmargin_service.physics import air, rated_radiator
from loopmargin_service.physics.air_path import (
    CASE,
    CURVE_DENSITY,
    ROOM,
    AirLaw,
    AirPath,
    air_topology,
)
from loopmargin_service.physics.curve import Curve, falling_curve
from loopmargin_service.physics.network import Array, Flows, solve
from loopmargin_service.physics.radiator import CoreSection, RatedSection
from tests.unit.physics.core_examples import COMMON

CUBIC_METRE_PER_HOUR = 1.0 / 3600.0
FACE = 0.0144
ROOM_TEMPERATURE = 293.15

CORE = CoreSection(COMMON, 0.85)


def rated(
    conductance: float = 30.0,
    linear: float = 6.0,
    quadratic: float = 9.0,
    air_flow: float = 0.0464,
    face_area: float = FACE,
) -> RatedSection:
    """Give a radiator by one rated point; its air drop was measured at 20 degC and sea level."""
    rating = rated_radiator.Rating(
        conductance=conductance,
        air_capacity=air_flow * air.HEAT_CAPACITY,
        liquid_capacity=0.0331 * 4180.0,
        air_flow=air_flow,
        liquid_flow=0.0331,
    )
    return RatedSection(
        face_area=face_area,
        rating=rating,
        rated_ua=float(rated_radiator.rated_ua(rating)),
        conductivity=0.6,
        linear=linear,
        quadratic=quadratic,
        air_viscosity=float(air.viscosity(ROOM_TEMPERATURE)),
        air_density=CURVE_DENSITY,
    )


def fan(pressure: float = 30.0, cubic_metres_per_hour: float = 110.0) -> Curve:
    """Give the parabola with this pressure at no flow and this flow at no pressure."""
    return falling_curve([0.0, cubic_metres_per_hour * CUBIC_METRE_PER_HOUR], [pressure, 0.0])


def outside(section: RatedSection | CoreSection, curve: Curve, count: int = 1) -> AirPath:
    """Give a radiator with fans that blows from the room into the room."""
    return AirPath(section.face_area, ROOM, ROOM, 0.0, section, curve, count)


def opening(area: float = 0.005, loss: float = 2.0) -> AirPath:
    """Give a hole in the case, counted positive inwards."""
    return AirPath(area, ROOM, CASE, loss)


def case_fan(tail: int = ROOM, head: int = CASE, curve: Curve | None = None) -> AirPath:
    """Give a fan in the wall of the case with a grille before it."""
    return AirPath(0.0113, tail, head, 1.5, None, curve or fan(), 1)


def air_flows(
    paths: Sequence[AirPath],
    density: float | Array = CURVE_DENSITY,
    temperature: float | Array = ROOM_TEMPERATURE,
    speed: float | Array = 1.0,
) -> Flows:
    """Solve for the air, and insist that it has settled."""
    batch = np.broadcast_shapes(np.shape(density)[-1:], np.shape(speed)[-1:], (1,))
    shape = (len(paths), *batch)
    given = (np.broadcast_to(array, shape) for array in (density, temperature, speed))
    solved = solve(air_topology(paths), AirLaw(paths, *given), np.full(shape, 0.01))
    assert solved.converged.all()
    return solved
