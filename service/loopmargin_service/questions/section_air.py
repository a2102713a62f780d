"""The air through one radiator section, stated or from fans against core and grille."""

from typing import NamedTuple

import numpy as np

from loopmargin_service.physics import air, network
from loopmargin_service.physics.air_path import (
    ROOM,
    AirLaw,
    AirPath,
    air_topology,
    fan_pressure,
)
from loopmargin_service.physics.radiator import AirStream, Section
from loopmargin_service.questions import curves, parts, wording
from loopmargin_service.questions.conversion import M3_PER_H, kelvin
from loopmargin_service.questions.radiator_range import fan_notes
from loopmargin_wire.answer import Note
from loopmargin_wire.radiator_area import (
    GivenAirFlow,
    GivenFaceVelocity,
    GivenFans,
    RadiatorAreaQuestion,
)

START_VELOCITY = 1.0


class Air(NamedTuple):
    """The air of one section: velocity on the face [m/s], density, temperature [K], fans [Pa]."""

    velocity: float
    density: float
    temperature: float
    fan_pressure: float | None
    stated: bool


def section_air(question: RadiatorAreaQuestion, section: Section) -> Air:
    """Find the air through one section, from what is stated or from the fans."""
    temperature = kelvin(question.room.air_c)
    density = float(air.density(parts.room_pressure(question.room), np.float64(temperature)))
    given = question.air
    if isinstance(given, GivenFaceVelocity):
        return Air(given.face_velocity_m_per_s, density, temperature, None, stated=True)
    if isinstance(given, GivenAirFlow):
        velocity = given.air_flow_m3_per_h * M3_PER_H / section.face_area
        return Air(velocity, density, temperature, None, stated=True)
    return _fanned(given, section, density, temperature)


def _fanned(given: GivenFans, section: Section, density: float, temperature: float) -> Air:
    """Find where the fans and the section with its grille meet."""
    fans = given.fans
    path = AirPath(
        area=section.face_area,
        tail=ROOM,
        head=ROOM,
        loss_coefficient=parts.loss_coefficient(given.grille),
        section=section,
        curve=curves.fan_curve(fans.fan, ("air", "fans", "fan")),
        fan_count=fans.count,
    )
    state = np.array([[density]]), np.array([[temperature]])
    ratio = np.array([[fans.speed_rpm / fans.fan.curve_speed_rpm]])
    start = np.array([[START_VELOCITY * section.face_area * density]])
    flows = network.solve(air_topology((path,)), AirLaw((path,), *state, ratio), start)
    assert path.curve is not None  # noqa: S101 - given just above
    stream = AirStream(flows.flow[0], state[0][0], state[1][0])
    pressure = float(fan_pressure(path, path.curve, stream, ratio[0])[0][0])
    velocity = max(float(flows.flow[0, 0]), 0.0) / (density * section.face_area)
    return Air(velocity, density, temperature, pressure, stated=False)


def air_notes(question: RadiatorAreaQuestion) -> tuple[Note, ...]:
    """Note what fans bring with them that a stated flow does not."""
    if not isinstance(question.air, GivenFans):
        return ()
    return (wording.AIR_FLOW_NOTE, *fan_notes(question.air.fans, "/air/fans"))
