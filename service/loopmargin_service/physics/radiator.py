"""One radiator section, by rated point or by core geometry, seen from both of its streams.

The two descriptions answer the same two questions: which conductance between entering
coolant and entering air [W/K], and which pressure drop of the air [Pa].
"""

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from loopmargin_service.physics import louvred_core, rated_radiator
from loopmargin_service.physics.air import HEAT_CAPACITY, viscosity
from loopmargin_service.physics.coolant import Properties
from loopmargin_service.physics.exchanger import inlet_conductance
from loopmargin_service.physics.network import Array

# Still air and still coolant carry no heat, but must not divide by zero.
SMALLEST_AIR_FLOW = 1e-7
SMALLEST_LIQUID_FLOW = 1e-7


class AirStream(NamedTuple):
    """Air entering a section: mass flow [kg/s], density [kg/m3] and temperature [K]."""

    flow: Array
    density: Array
    temperature: Array


@dataclass(frozen=True)
class RatedSection:
    """A section known by one rated point and by its air-side pressure drop.

    The air drop is ``linear * v + quadratic * v**2`` on the face velocity v, measured at
    `air_viscosity` and `air_density`. `conductivity` is that of the rating's coolant.
    """

    face_area: float
    rating: rated_radiator.Rating
    rated_ua: float
    conductivity: float
    linear: float
    quadratic: float
    air_viscosity: float
    air_density: float

    def ua(self, air: AirStream, liquid_flow: Array, liquid: Properties) -> Array:
        """Conductance of the walls. [W/K]"""
        return rated_radiator.scaled_ua(
            self.rating,
            self.rated_ua,
            air.flow,
            liquid_flow,
            liquid.conductivity / self.conductivity,
        )

    @property
    def passes(self) -> int:
        """A rated point says nothing of passes; one is assumed, as in finding its UA. [-]"""
        return 1

    def air_drop(self, air: AirStream) -> Array:
        """Pressure drop of the air. [Pa]"""
        velocity = air.flow / (air.density * self.face_area)
        thicker = viscosity(air.temperature) / self.air_viscosity
        denser = air.density / self.air_density
        return np.asarray(velocity * (self.linear * thicker + self.quadratic * denser * velocity))


@dataclass(frozen=True)
class CoreSection:
    """A section known by the geometry of its core, derated by an installation factor on UA."""

    core: louvred_core.Core
    installation_factor: float

    @property
    def face_area(self) -> float:
        """Area of the face. [m2]"""
        return self.core.face_area

    def ua(self, air: AirStream, liquid_flow: Array, liquid: Properties) -> Array:
        """Conductance of the walls. [W/K]"""
        return self.installation_factor * louvred_core.conductance(
            self.core,
            air.flow / (air.density * self.face_area),
            air.density,
            air.temperature,
            liquid_flow,
            liquid,
        )

    @property
    def passes(self) -> int:
        """Passes of the coolant, side by side in the air. [-]"""
        return self.core.passes

    def air_drop(self, air: AirStream) -> Array:
        """Pressure drop of the air. [Pa]"""
        return louvred_core.air_pressure_drop(
            self.core, air.flow / (air.density * self.face_area), air.density, air.temperature
        )


Section = RatedSection | CoreSection


def conductance(
    section: Section,
    air: AirStream,
    liquid_flow: Array,
    liquid: Properties,
    ua_factor: Array | float = 1.0,
) -> Array:
    """
    Conductance of a section between entering coolant and entering air.

    Parameters
    ----------
    section : RatedSection or CoreSection
        The radiator section. [SI]
    air : AirStream
        Entering air, each (batch,); the sign of the flow does not matter. [SI]
    liquid_flow : ndarray
        Coolant mass flow, (batch,); the sign does not matter. [kg/s]
    liquid : Properties
        Coolant in the section. [SI]
    ua_factor : ndarray or float
        Multiplies the conductance of the walls. [-]

    Returns
    -------
    ndarray
        Heat per kelvin of inlet difference, (batch,). [W/K]

    Notes
    -----
    Bounded by both capacity rates. Streams slower than the smallest flows above are
    taken at those flows, where the conductance is practically zero.

    Validity
    --------
    As the law of the section. Outside, streams slower than `SMALLEST_AIR_FLOW` and
    `SMALLEST_LIQUID_FLOW` count as these.
    """
    moving = air._replace(flow=np.maximum(np.abs(air.flow), SMALLEST_AIR_FLOW))
    through = np.maximum(np.abs(liquid_flow), SMALLEST_LIQUID_FLOW)
    return inlet_conductance(
        ua_factor * section.ua(moving, through, liquid),
        moving.flow * HEAT_CAPACITY,
        through * liquid.heat_capacity,
        section.passes,
    )
