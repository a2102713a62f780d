"""Air between room and case: radiators with fans, case fans and openings in parallel.

Each path is one link of a network whose nodes are the room and the inside of the case;
a path that stands outside begins and ends in the room. Pressure drops follow the local
density of the air that enters the path. Left out: buoyancy of the warm case air, leaks,
and the interaction of fans that blow at each other.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from loopmargin_service.physics.curve import Curve, value_and_slope
from loopmargin_service.physics.network import Array, Topology
from loopmargin_service.physics.radiator import SMALLEST_AIR_FLOW, AirStream, Section
from loopmargin_service.physics.rows import Index

ROOM = 0
CASE = 1

# Density that fan curves are stated at: dry air at 20 degC and 101325 Pa.
CURVE_DENSITY = 1.204
# Step for the slope of a core's pressure drop, as a share of the flow.
SLOPE_STEP = 1e-4
# Only a link without any flow has less. Were it more, air that nothing drives would come to rest
# ever more slowly. [Pa s/kg]
SMALLEST_SLOPE = 1e-6
_BESIDE = np.array([[1.0], [1.0 + SLOPE_STEP]])


@dataclass(frozen=True)
class AirPath:
    """One way of the air: optional core, grille and fans in series, on one face area.

    `curve` is the pressure [Pa] of one fan against its volume flow [m3/s]; `fan_count`
    fans stand side by side. `loss_coefficient` is on the velocity over `area` [m2].
    """

    area: float
    tail: int
    head: int
    loss_coefficient: float = 0.0
    section: Section | None = None
    curve: Curve | None = None
    fan_count: int = 0


def air_topology(paths: Sequence[AirPath]) -> Topology:
    """Give the network of the paths, room alone when none leads to the case. [kg/s and Pa]"""
    inside = any(CASE in (path.tail, path.head) for path in paths)
    return Topology(
        2 if inside else 1,
        tuple(path.tail for path in paths),
        tuple(path.head for path in paths),
        ROOM,
    )


@dataclass(frozen=True)
class AirLaw:
    """The law of all air paths, for `network.solve`.

    `density` [kg/m3] and `temperature` [K] are of the air entering each path, `speed_ratio` [-]
    is fan speed over the speed of the curve, each (paths, batch).
    """

    paths: Sequence[AirPath]
    density: Array
    temperature: Array
    speed_ratio: Array

    def __call__(self, flow: Array) -> tuple[Array, Array]:
        """Give pressure drops [Pa] and slopes [Pa s/kg] at flows [kg/s], (paths, batch)."""
        drop, slope = np.empty_like(flow), np.empty_like(flow)
        for row, path in enumerate(self.paths):
            stream = AirStream(flow[row], self.density[row], self.temperature[row])
            drop[row], slope[row] = _path_drop(path, stream, self.speed_ratio[row])
        return drop, np.maximum(slope, SMALLEST_SLOPE)

    def cases(self, chosen: Index) -> "AirLaw":
        """Give the law of some cases alone."""
        arrays = (self.density, self.temperature, self.speed_ratio)
        return AirLaw(self.paths, *(rows.take(chosen, axis=-1) for rows in arrays))


def _path_drop(path: AirPath, air: AirStream, speed_ratio: Array) -> tuple[Array, Array]:
    """Give losses minus fan pressure, and the slope on mass flow."""
    inertial = 0.5 * path.loss_coefficient / (air.density * path.area * path.area)
    drop = inertial * air.flow * np.abs(air.flow)
    slope = 2.0 * inertial * np.abs(air.flow)
    if path.section is not None:
        core, core_slope = _core_drop(path.section, air)
        drop, slope = drop + core, slope + core_slope
    if path.curve is not None:
        gain, gain_slope = fan_pressure(path, path.curve, air, speed_ratio)
        drop, slope = drop - gain, slope - gain_slope
    return drop, slope


def _core_drop(section: Section, air: AirStream) -> tuple[Array, Array]:
    """Give the drop of a core and its slope, by a difference small against its curvature."""
    size = np.maximum(np.abs(air.flow), SMALLEST_AIR_FLOW)
    both = AirStream(size * _BESIDE, air.density, air.temperature)
    near, far = section.air_drop(both)
    return np.copysign(near, air.flow), (far - near) / (size * SLOPE_STEP)


def fan_pressure(
    path: AirPath, curve: Curve, air: AirStream, speed_ratio: Array
) -> tuple[Array, Array]:
    """
    Pressure of the fans of a path and its slope.

    Parameters
    ----------
    path : AirPath
        Gives the number of fans side by side. [-]
    curve : Curve
        Pressure [Pa] of one fan against volume flow [m3/s], at `CURVE_DENSITY`.
    air : AirStream
        Mass flow of the whole path and the state of the air. [SI]
    speed_ratio : ndarray
        Fan speed over the speed of the curve, (batch,). [-]

    Returns
    -------
    tuple of ndarray
        Pressure [Pa] and slope on mass flow [Pa s/kg], (batch,).

    Notes
    -----
    Fan laws: flow as speed, pressure as speed squared and density (ISO 13348, ISO 5801,
    from memory).

    Validity
    --------
    0.5 to 1.1 times the speed of the measurement, as for `curve.value_and_slope`. Outside, the
    fan laws go on; a standing fan has no pressure.
    """
    volume = air.flow / (air.density * path.fan_count)
    pressure, slope = value_and_slope(curve, volume, speed_ratio)
    denser = air.density / CURVE_DENSITY
    return pressure * denser, slope * denser / (air.density * path.fan_count)
