"""Core of a radiator with louvred fins between flat tubes: conductance and air resistance.

The laws of the air side are in `louvred_fin`, of the coolant side in `flat_tube`. Left out:
the headers, uneven air, and the bond between fin and tube; an installation factor on the
conductance stands for them. SI throughout, the louvre angle in degrees.
"""

from collections.abc import Callable

import numpy as np
from numpy.typing import ArrayLike, NDArray

from loopmargin_service.physics import air, flat_tube
from loopmargin_service.physics.coolant import Properties
from loopmargin_service.physics.core_geometry import Core
from loopmargin_service.physics.louvred_fin import (
    GEOMETRY_RANGES,
    REYNOLDS_RANGE,
    colburn_factor,
    friction_factor,
)

__all__ = [
    "GEOMETRY_RANGES",
    "REYNOLDS_RANGE",
    "Core",
    "air_pressure_drop",
    "colburn_factor",
    "conductance",
    "friction_factor",
    "reynolds",
]

Law = Callable[[Core, ArrayLike], NDArray[np.float64]]


def conductance(
    core: Core,
    face_velocity: ArrayLike,
    air_density: ArrayLike,
    air_temperature: ArrayLike,
    liquid_mass_flow: ArrayLike,
    liquid: Properties,
    *,
    colburn: Law | None = None,
) -> NDArray[np.float64]:
    """Conductance UA between coolant and air, as in an undisturbed wind tunnel.

    Parameters
    ----------
    core : Core
        Geometry. [m]
    face_velocity : array_like
        Velocity of the air on the face. [m/s]
    air_density : array_like
        Density of the entering air, broadcast with *face_velocity*. [kg/m3]
    air_temperature : array_like
        Temperature of the air, broadcast with *face_velocity*. [K]
    liquid_mass_flow : array_like
        Mass flow of all the coolant, broadcast with *face_velocity*. [kg/s]
    liquid : Properties
        Properties of the coolant in the core. [SI]
    colburn : callable, optional
        Law of the Colburn factor, `colburn_factor` unless given. [-]

    Returns
    -------
    ndarray
        Conductance UA. [W/K]

    Notes
    -----
    The resistances of air (with the efficiency of a straight fin of half the gap), tube wall
    and coolant in series. Uncertain by 15 %; multiply by an installation factor. Ranges:
    `GEOMETRY_RANGES` and `REYNOLDS_RANGE`. See `colburn_factor` for outside.

    Validity
    --------
    `louvred_fin.GEOMETRY_RANGES` and `louvred_fin.REYNOLDS_RANGE`. Outside, as in
    `louvred_fin.colburn_factor`.
    """
    law = colburn_factor if colburn is None else colburn
    flux = _mass_flux(core, face_velocity, air_density)
    viscosity = air.viscosity(air_temperature)
    prandtl = viscosity * air.HEAT_CAPACITY / air.conductivity(air_temperature)
    factor = law(core, flux * core.louvre_pitch / viscosity)
    coefficient = factor * flux * air.HEAT_CAPACITY * prandtl ** (-2.0 / 3.0)
    air_side = surface_efficiency(core, coefficient) * coefficient * core.air_area
    wall = core.tube_wall / (core.tube_conductivity * core.liquid_area)
    liquid_side = liquid_coefficient(core, liquid_mass_flow, liquid) * core.liquid_area
    return 1.0 / (1.0 / air_side + wall + 1.0 / liquid_side)


def air_pressure_drop(
    core: Core, face_velocity: ArrayLike, air_density: ArrayLike, air_temperature: ArrayLike
) -> NDArray[np.float64]:
    """Pressure drop of the air in the core.

    Parameters
    ----------
    core : Core
        Geometry. [m]
    face_velocity : array_like
        Velocity of the air on the face. [m/s]
    air_density : array_like
        Density of the entering air, broadcast with *face_velocity*. [kg/m3]
    air_temperature : array_like
        Temperature of the air, broadcast with *face_velocity*. [K]

    Returns
    -------
    ndarray
        Pressure drop. [Pa]

    Notes
    -----
    4 f (depth / hydraulic diameter) half rho v squared, v in the free area. The friction
    factor was measured with the losses of entry and exit in it only partly; they are left
    out. Uncertain by 16 %. Never falls with velocity.

    Validity
    --------
    `louvred_fin.GEOMETRY_RANGES` and `louvred_fin.REYNOLDS_RANGE`. Outside, as in
    `louvred_fin.friction_factor`.
    """
    flux = _mass_flux(core, face_velocity, air_density)
    factor = friction_factor(core, flux * core.louvre_pitch / air.viscosity(air_temperature))
    slenderness = core.depth / core.hydraulic_diameter
    return 2.0 * slenderness * factor * flux**2 / np.asarray(air_density, dtype=np.float64)


def reynolds(
    core: Core, face_velocity: ArrayLike, air_density: ArrayLike, air_temperature: ArrayLike
) -> NDArray[np.float64]:
    """Reynolds number on the louvre pitch and the velocity in the free area.

    Parameters
    ----------
    core : Core
        Geometry. [m]
    face_velocity : array_like
        Velocity of the air on the face. [m/s]
    air_density : array_like
        Density of the entering air, broadcast with *face_velocity*. [kg/m3]
    air_temperature : array_like
        Temperature of the air, broadcast with *face_velocity*. [K]

    Returns
    -------
    ndarray
        Reynolds number. [-]

    Validity
    --------
    Everywhere; a definition.
    """
    flux = _mass_flux(core, face_velocity, air_density)
    return flux * core.louvre_pitch / air.viscosity(air_temperature)


def surface_efficiency(core: Core, coefficient: NDArray[np.float64]) -> NDArray[np.float64]:
    """Efficiency of the whole air-side surface, tubes included.

    Parameters
    ----------
    core : Core
        Geometry. [m]
    coefficient : ndarray
        Heat transfer coefficient of the air. [W/(m2 K)]

    Returns
    -------
    ndarray
        Heat flow over that of a surface that is all as warm as the tubes. [-]

    Notes
    -----
    Straight fin of constant thickness, half the gap long, its front and rear edge counted.

    Validity
    --------
    Everywhere that the fin is thin beside its length; nothing is checked.
    """
    edge = 1.0 + core.fin_thickness / core.depth
    fin = core.fin_conductivity * core.fin_thickness
    reach = np.sqrt(2.0 * coefficient * edge / fin) * 0.5 * core.fin_length
    efficiency: NDArray[np.float64] = np.tanh(reach) / reach
    return 1.0 - core.fin_share * (1.0 - efficiency)


def liquid_coefficient(core: Core, mass_flow: ArrayLike, liquid: Properties) -> NDArray[np.float64]:
    """Heat transfer coefficient of the coolant in the tubes.

    Parameters
    ----------
    core : Core
        Geometry. [m]
    mass_flow : array_like
        Mass flow of all the coolant, shared evenly by the tubes of a pass. [kg/s]
    liquid : Properties
        Properties of the coolant, broadcast with *mass_flow*. [SI]

    Returns
    -------
    ndarray
        Heat transfer coefficient. [W/(m2 K)]

    Notes
    -----
    See `flat_tube.nusselt`; the entrance begins anew with each pass.

    Validity
    --------
    As `flat_tube.nusselt`, inside and outside.
    """
    thickness, width = core.tube_bore
    diameter = core.tube_hydraulic_diameter
    flux = np.asarray(mass_flow, dtype=np.float64) / core.liquid_flow_area
    number = flat_tube.nusselt(
        flux * diameter / liquid.viscosity,
        liquid.viscosity * liquid.heat_capacity / liquid.conductivity,
        core.face_width / diameter,
        thickness / width,
    )
    return number * liquid.conductivity / diameter


def _mass_flux(core: Core, face_velocity: ArrayLike, air_density: ArrayLike) -> NDArray[np.float64]:
    """Mass flow of the air over the free area. [kg/(m2 s)]"""
    density = np.asarray(air_density, dtype=np.float64) / core.free_area_ratio
    return density * np.asarray(face_velocity, dtype=np.float64)
