"""Radiators drawn at random: what is uncertain about one, and what each draw would do."""

from collections.abc import Iterator
from typing import NamedTuple

import numpy as np

from loopmargin_service.physics import louvred_core
from loopmargin_service.physics.exchanger import series_conductance
from loopmargin_service.physics.network import Array
from loopmargin_service.physics.radiator import AirStream, CoreSection, Section, conductance
from loopmargin_service.questions import draws, uncertainty
from loopmargin_service.questions.affinity import fans_outside
from loopmargin_service.questions.conversion import CM2, M3_PER_H
from loopmargin_service.questions.draws import Cause, Draws
from loopmargin_service.questions.radiator_curve import CoolantStream, sections_for
from loopmargin_service.questions.radiator_range import core_reynolds, rated_ratio
from loopmargin_service.questions.section_air import Air
from loopmargin_service.questions.spreads import Quantity, simulation
from loopmargin_wire.radiator import Radiator, RatedRadiator
from loopmargin_wire.radiator_area import GivenFans, RadiatorAreaQuestion
from loopmargin_wire.uncertainty import RadiatorUncertainty, Simulation, Uncertainties

CORE_LAW = "law of louvred cores"
RATED_LAW = "law of rated radiators"
AIR_FLOW = "air flow of fans"


class DrawnRadiators(NamedTuple):
    """What the installed sections do in every draw, in wire units; areas may be infinite."""

    drawn: Draws
    needed: Array
    available: Array
    rise_at_heat: Array
    area_needed: Array
    air_flow: Array

    def surpluses(self, rise: float, installed: float) -> tuple[Array, Array, Array]:
        """Give what is left of conductance, of a rise [K] and of an area. [cm2]"""
        return (
            self.available - self.needed,
            rise - self.rise_at_heat,
            installed - self.area_needed,
        )


def law_cause(
    asked: RadiatorUncertainty | Uncertainties, given: Radiator, section: Section, velocity: float
) -> Cause:
    """Give the doubt about the law of a radiator, wider outside the range of the law."""
    if isinstance(section, CoreSection):
        slow = core_reynolds(section, velocity) < louvred_core.REYNOLDS_RANGE[0]
        wider = uncertainty.BEYOND_CORE_RANGE if slow else 1.0
        return uncertainty.cause(asked, "core_law", CORE_LAW, widened=wider)
    assert isinstance(given, RatedRadiator)  # noqa: S101 - a rated section comes from one
    wider = uncertainty.rated_widening(rated_ratio(given, section, velocity))
    return uncertainty.cause(asked, "rated_law", RATED_LAW, widened=wider)


def _causes(
    question: RadiatorAreaQuestion, asked: RadiatorUncertainty, section: Section, stream: Air
) -> Iterator[Cause]:
    """List what is uncertain."""
    yield uncertainty.cause(asked, "heat")
    yield uncertainty.cause(asked, "coolant_flow")
    if isinstance(question.air, GivenFans):
        yield uncertainty.cause(asked, "air_flow", AIR_FLOW)
        far = fans_outside([question.air.fans])
        yield uncertainty.affinity(
            uncertainty.FAN_AFFINITY, uncertainty.BEYOND_FAN_RANGE, outside=far
        )
    else:
        yield uncertainty.cause(asked, "stated_air_flow")
    if isinstance(section, CoreSection):
        yield uncertainty.cause(asked, "installation")
    yield law_cause(asked, question.radiator, section, stream.velocity)


def draw(
    question: RadiatorAreaQuestion, section: Section, stream: Air, rest: tuple[CoolantStream, float]
) -> DrawnRadiators | None:
    """Draw radiators and streams, if that is asked for; *rest* is coolant and rise. [K]"""
    asked, (water, rise) = question.uncertainty, rest
    if asked is None:
        return None
    drawn = draws.draw(question, asked, _causes(question, asked, section, stream))
    every = np.ones(drawn.size)
    velocity = every * stream.velocity * drawn.factor(AIR_FLOW)
    velocity *= drawn.factor("stated air flow") * drawn.factor(uncertainty.FAN_AFFINITY)
    ua = drawn.factor(CORE_LAW) * drawn.factor(RATED_LAW) * drawn.factor("installation")
    air = AirStream(
        velocity * stream.density * section.face_area,
        every * stream.density,
        every * stream.temperature,
    )
    flow = every * drawn.factor("coolant flow")
    each = conductance(section, air, water.flow * flow, water.liquid, ua)
    capacity = water.capacity * flow
    heat = question.heat_w * every * drawn.factor("heat")
    count = question.section_count
    available = series_conductance(np.tile(each, (count, 1)), capacity)
    return DrawnRadiators(
        drawn,
        heat / rise,
        available,
        heat / np.maximum(available, 1e-12),
        sections_for(heat / rise, each, capacity) * (section.face_area / CM2),
        velocity * section.face_area / M3_PER_H,
    )


def described(found: DrawnRadiators | None, confidence: float) -> Simulation | None:
    """Describe the draws, if there are any."""
    if found is None:
        return None
    return simulation(
        found.drawn,
        [
            Quantity("conductance needed", "W/K", found.needed),
            Quantity("conductance available", "W/K", found.available),
            Quantity("coolant rise at this heat", "K", found.rise_at_heat),
            Quantity("face area needed", "cm2", found.area_needed),
            Quantity("air flow of a section", "m3/h", found.air_flow),
        ],
        confidence,
    )
