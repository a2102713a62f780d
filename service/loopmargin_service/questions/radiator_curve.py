"""One radiator section over air velocities, and how many sections a conductance takes."""

from typing import NamedTuple

import numpy as np

from loopmargin_service.physics.coolant import Properties
from loopmargin_service.physics.network import Array
from loopmargin_service.physics.radiator import AirStream, Section, conductance
from loopmargin_service.questions.section_air import Air
from loopmargin_wire.radiator_area import AreaPoint

CURVE_VELOCITIES = np.array([0.25, 0.4, 0.6, 0.8, 1.0, 1.25, 1.5, 1.75, 2.0, 2.5, 3.0, 4.0])
MOST_SECTIONS = 1e6


class CoolantStream(NamedTuple):
    """The coolant stream: temperature in [K], mass flow [kg/s], capacity [W/K], properties."""

    inlet: float
    flow: float
    capacity: float
    liquid: Properties


class Curve(NamedTuple):
    """Conductance of one section and air pressure drop; the operating point stands first."""

    velocity: Array
    conductance: Array
    pressure_drop: Array


def over_velocities(section: Section, stream: Air, water: CoolantStream) -> Curve:
    """Evaluate one section at its operating point and over the curve."""
    velocity = np.concatenate([[stream.velocity], CURVE_VELOCITIES])
    air_stream = AirStream(
        velocity * stream.density * section.face_area,
        np.full_like(velocity, stream.density),
        np.full_like(velocity, stream.temperature),
    )
    flow = np.full_like(velocity, water.flow)
    return Curve(
        velocity,
        conductance(section, air_stream, flow, water.liquid),
        section.air_drop(air_stream),
    )


def sections_for(needed: Array | float, each: Array, capacity: Array | float) -> Array:
    """Give the number of sections in series, as a fraction; infinite when no number suffices.

    Each section has fresh air, so n of them leave (1 - G/C)**n of the inlet difference. More
    than `MOST_SECTIONS` are as good as none.
    """
    enough = np.asarray((needed < capacity) & (each > 0.0))
    wanted = np.where(enough, needed / capacity, 0.0)
    share = np.where(enough, np.minimum(each / capacity, 1.0 - 1e-12), 0.5)
    sections = np.log1p(-wanted) / np.log1p(-share)
    return np.where(enough & (sections <= MOST_SECTIONS), sections, np.inf)


def area_curve(
    needed: float, area_each: float, capacity: float, curve: Curve
) -> tuple[AreaPoint, ...]:
    """Give the face area needed over face velocity."""
    areas = area_each * sections_for(needed, curve.conductance[1:], capacity)
    return tuple(
        AreaPoint(
            face_velocity_m_per_s=velocity,
            area_cm2=area if np.isfinite(area) else None,
            air_pressure_drop_pa=drop,
        )
        for velocity, area, drop in zip(
            curve.velocity[1:].tolist(),
            areas.tolist(),
            curve.pressure_drop[1:].tolist(),
            strict=True,
        )
    )
