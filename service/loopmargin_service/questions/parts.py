"""Wire parts to physics objects, with the contradictions that a schema cannot exclude."""

from functools import lru_cache
from typing import NamedTuple

import numpy as np

from loopmargin_service.physics import air, coolant, drop, louvred_core, rated_radiator, screen
from loopmargin_service.physics.exchanger import NTU_MAX, inlet_conductance, rating_to_inlet_basis
from loopmargin_service.physics.radiator import CoreSection, RatedSection, Section
from loopmargin_service.questions.conversion import (
    INCH,
    KPA,
    L_PER_MIN,
    M3_PER_H,
    MM,
    celsius,
    kelvin,
)
from loopmargin_service.questions.refusals import Fault, Refusal
from loopmargin_wire import part, radiator

Path = tuple[str | int, ...]

# Wires of a mesh are about as thin as this, which sets their Reynolds number.
MESH_REYNOLDS = 100.0
# Gap between tubes beyond the thickness of a fin, below which no fin can be folded. [mm]
LEAST_GAP_MM = 1.0
# Air through a radiator slower than this was never rated. [m/s]
SLOWEST_RATING = 0.01


class Mix(NamedTuple):
    """A coolant by fluid and mass fraction of glycol."""

    fluid: coolant.Fluid
    mass_fraction: float


class MeasuredDrop(NamedTuple):
    """Linear [Pa s/m3] and quadratic [Pa s2/m6] term, and the liquid they were measured with."""

    linear: float
    quadratic: float
    viscosity: float
    density: float


def mix(given: part.Coolant) -> Mix:
    """Name the fluid of a coolant."""
    if isinstance(given, part.Water):
        return Mix("water", 0.0)
    if isinstance(given, part.EthyleneGlycol):
        return Mix("ethylene_glycol", given.mass_fraction)
    return Mix("propylene_glycol", given.mass_fraction)


@lru_cache(maxsize=256)
def freezing_c(given: Mix) -> float:
    """Give the freezing temperature of a coolant in degrees Celsius."""
    return celsius(float(coolant.freezing_temperature(given.fluid, given.mass_fraction)))


def above_freezing(given: Mix, temperature_c: float, path: Path) -> None:
    """Refuse a coolant temperature at which the coolant is no longer liquid."""
    limit = freezing_c(given)
    if temperature_c <= limit:
        raise Refusal(
            Fault(
                path,
                f"{temperature_c:g} degC is not above the freezing point of this coolant, "
                f"{limit:.1f} degC; use a warmer coolant or more glycol",
            )
        )


@lru_cache(maxsize=1024)
def liquid(given: Mix, temperature_c: float) -> coolant.Properties:
    """Give the properties of a coolant at one temperature, as arrays of one entry."""
    return coolant.properties(given.fluid, given.mass_fraction, np.array([kelvin(temperature_c)]))


def measured_drop(given: part.PressureDrop, path: Path) -> MeasuredDrop:
    """Reduce a pressure drop to two terms and the liquid it was measured with."""
    if isinstance(given, part.DropKv):
        terms = drop.from_kv(given.kv_m3_per_h * M3_PER_H, 1000.0)
        return MeasuredDrop(0.0, float(terms.quadratic), 1e-3, 1000.0)
    measured_with = mix(given.measured_with)
    above_freezing(measured_with, given.measured_at_c, (*path, "measured_at_c"))
    then = liquid(measured_with, given.measured_at_c)
    if isinstance(given, part.DropPoints):
        terms = drop.fit_drop(
            np.array([point.flow_l_per_min * L_PER_MIN for point in given.points]),
            np.array([point.pressure_drop_kpa * KPA for point in given.points]),
        )
    else:
        terms = drop.Drop(
            np.asarray(given.linear_kpa_per_l_per_min * KPA / L_PER_MIN),
            np.asarray(given.quadratic_kpa_per_l_per_min2 * KPA / L_PER_MIN**2),
        )
    return MeasuredDrop(
        float(terms.linear),
        float(terms.quadratic),
        float(then.viscosity[0]),
        float(then.density[0]),
    )


def loss_coefficient(given: part.Grille | None) -> float:
    """Give the loss coefficient of a grille on its approach velocity."""
    if given is None:
        return 0.0
    if isinstance(given, part.LossCoefficient):
        return given.loss_coefficient
    if given.form == "wire_mesh":
        return float(screen.wire_screen(given.free_area_fraction, MESH_REYNOLDS))
    return float(screen.perforated_plate(given.free_area_fraction))


def room_pressure(room: part.Room) -> float:
    """Give the air pressure [Pa] at the room's altitude."""
    return float(air.standard_pressure(room.altitude_m))


def section(given: radiator.Radiator, path: Path) -> Section:
    """Build a radiator section from whichever description is given."""
    if isinstance(given, radiator.CoreRadiator):
        return _core_section(given, path)
    return _rated_section(given, path)


def _core_section(given: radiator.CoreRadiator, path: Path) -> CoreSection:
    """Build a section from its geometry, if the geometry holds together."""
    gap = given.tube_pitch_mm - given.tube_thickness_mm
    faults = []
    if gap <= given.fin_thickness_mm + LEAST_GAP_MM:
        faults.append(
            Fault(
                (*path, "tube_thickness_mm"),
                f"tubes {given.tube_thickness_mm:g} mm thick at a pitch of {given.tube_pitch_mm:g} "
                "mm leave no room for fins; leave more than "
                f"{given.fin_thickness_mm + LEAST_GAP_MM:.4g} mm between tubes",
            )
        )
    if given.face_height_mm < given.tube_pitch_mm * given.passes:
        faults.append(
            Fault(
                (*path, "tube_pitch_mm"),
                f"a face {given.face_height_mm:g} mm high with a tube every "
                f"{given.tube_pitch_mm:g} mm holds fewer tubes than {given.passes} passes; use a "
                "smaller pitch or fewer passes",
            )
        )
    if 2 * given.tube_wall_mm >= given.tube_thickness_mm - 0.2:
        faults.append(
            Fault(
                (*path, "tube_wall_mm"),
                f"two walls of {given.tube_wall_mm:g} mm leave less than 0.2 mm bore in a tube "
                f"{given.tube_thickness_mm:g} mm thick; use a thinner wall",
            )
        )
    if faults:
        raise Refusal(*faults)
    return CoreSection(
        louvred_core.Core(
            face_width=given.face_width_mm * MM,
            face_height=given.face_height_mm * MM,
            depth=given.depth_mm * MM,
            tube_pitch=given.tube_pitch_mm * MM,
            tube_thickness=given.tube_thickness_mm * MM,
            tube_wall=given.tube_wall_mm * MM,
            passes=given.passes,
            fin_pitch=INCH / given.fins_per_inch,
            fin_thickness=given.fin_thickness_mm * MM,
            fin_conductivity=given.fin_conductivity_w_per_m_k,
            louvre_pitch=given.louvre_pitch_mm * MM,
            louvre_angle=given.louvre_angle_deg,
            louvre_length=given.louvre_length_fraction * gap * MM,
        ),
        given.installation_factor,
    )


def _rated_section(given: radiator.RatedRadiator, path: Path) -> RatedSection:
    """Build a section from its rated point, if its streams can carry the rating."""
    water = liquid(Mix("water", 0.0), given.coolant_c)
    density = float(
        air.density(air.standard_pressure(given.altitude_m), np.float64(kelvin(given.air_c)))
    )
    air_flow = given.air_flow_m3_per_h * M3_PER_H * density
    liquid_flow = given.flow_l_per_min * L_PER_MIN * float(water.density[0])
    liquid_capacity = liquid_flow * float(water.heat_capacity[0])
    rating = rated_radiator.Rating(
        conductance=float(
            rating_to_inlet_basis(given.conductance_w_per_k, given.basis, liquid_capacity)
        ),
        air_capacity=air_flow * air.HEAT_CAPACITY,
        liquid_capacity=liquid_capacity,
        air_flow=air_flow,
        liquid_flow=liquid_flow,
        air_share=given.air_resistance_share,
        air_exponent=given.air_exponent,
        liquid_exponent=given.liquid_exponent,
    )
    _possible(given, rating, path)
    area = given.face_width_mm * given.face_height_mm * MM * MM
    terms = drop.fit_drop(
        np.array([point.air_flow_m3_per_h * M3_PER_H / area for point in given.air_pressure_drop]),
        np.array([point.pressure_drop_pa for point in given.air_pressure_drop]),
    )
    return RatedSection(
        face_area=area,
        rating=rating,
        rated_ua=float(rated_radiator.rated_ua(rating)),
        conductivity=float(water.conductivity[0]),
        linear=float(terms.linear),
        quadratic=float(terms.quadratic),
        air_viscosity=float(air.viscosity(np.float64(kelvin(given.air_c)))),
        air_density=density,
    )


def _possible(given: radiator.RatedRadiator, rating: rated_radiator.Rating, path: Path) -> None:
    """Refuse a rating that moves more heat than its streams can carry."""
    area = given.face_width_mm * given.face_height_mm * MM * MM
    slowest = SLOWEST_RATING * area / M3_PER_H
    rated = (((*path, "air_flow_m3_per_h"), given.air_flow_m3_per_h),)
    points = (
        ((*path, "air_pressure_drop", number, "air_flow_m3_per_h"), point.air_flow_m3_per_h)
        for number, point in enumerate(given.air_pressure_drop)
    )
    for where, flow in (*rated, *points):
        if flow < slowest:
            raise Refusal(
                Fault(
                    where,
                    f"{flow:g} m3/h through a face of {area * 1e4:.4g} cm2 hardly moves; a rating "
                    f"of this face starts at {slowest:.3g} m3/h: check face and flow",
                )
            )
    if rated_radiator.rating_possible(rating):
        return
    inlet = float(np.asarray(rating.conductance))
    streams = np.asarray(rating.air_capacity), np.asarray(rating.liquid_capacity)
    most = float(inlet_conductance(NTU_MAX * np.minimum(*streams), *streams))
    raise Refusal(
        Fault(
            (*path, "conductance_w_per_k"),
            f"{given.conductance_w_per_k:g} W/K on {given.basis} basis is {inlet:.4g} "
            f"W/K between the inlets, but air and coolant of the rating carry at most {most:.4g} "
            "W/K; check the basis, the air flow and the coolant flow of the rating",
        )
    )
