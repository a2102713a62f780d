"""A radiator by a rated point or by the geometry of its core."""

from typing import Annotated, Literal

from msgspec import Meta

from loopmargin_wire.quantity import (
    AirFlowM3PerH,
    AirTemperatureC,
    AltitudeM,
    FaceLengthMm,
    FlowLPerMin,
    Name,
    quantity,
    whole,
    words,
)
from loopmargin_wire.strict import Part


class AirDropPoint(Part, frozen=True, kw_only=True):
    """One point of the air-side pressure drop of a radiator."""

    air_flow_m3_per_h: AirFlowM3PerH
    pressure_drop_pa: Annotated[float, quantity("Pa", 0.0, 2000.0, "Pressure drop of the air")]


class RatedRadiator(Part, tag_field="kind", tag="rated", frozen=True, kw_only=True):
    """One section described by a rated point.

    `basis` tells which coolant temperature, minus the temperature of the entering air,
    the rated conductance was divided by. Water is assumed for the rating.
    """

    name: Name = "radiator"
    face_width_mm: FaceLengthMm
    face_height_mm: FaceLengthMm
    conductance_w_per_k: Annotated[float, quantity("W/K", 0.1, 2000.0, "Rated conductance")]
    basis: Annotated[
        Literal["coolant_inlet", "coolant_mean", "coolant_outlet"],
        words("Coolant temperature that the rating counts from, over the air that enters"),
    ]
    air_flow_m3_per_h: AirFlowM3PerH
    flow_l_per_min: FlowLPerMin
    air_c: AirTemperatureC = 25.0
    coolant_c: Annotated[
        float, quantity("degC", 1.0, 95.0, "Coolant temperature of the rating")
    ] = 40.0
    altitude_m: AltitudeM = 0.0
    air_pressure_drop: Annotated[tuple[AirDropPoint, ...], Meta(min_length=1, max_length=20)]
    air_resistance_share: Annotated[
        float,
        quantity("1", 0.1, 0.98, "Air-side share of the thermal resistance at rating"),
    ] = 0.75
    air_exponent: Annotated[float, quantity("1", 0.1, 1.0, "Exponent of air mass flow")] = 0.5
    liquid_exponent: Annotated[float, quantity("1", 0.0, 0.9, "Exponent of coolant mass flow")] = (
        0.15
    )


class CoreRadiator(Part, tag_field="kind", tag="core", frozen=True, kw_only=True):
    """One section described by the geometry of its louvred-fin, flat-tube core."""

    name: Name = "radiator"
    face_width_mm: FaceLengthMm
    face_height_mm: FaceLengthMm
    depth_mm: Annotated[float, quantity("mm", 10.0, 120.0, "Depth of the core in air direction")]
    tube_pitch_mm: Annotated[float, quantity("mm", 4.0, 30.0, "Distance from tube to tube")]
    tube_thickness_mm: Annotated[float, quantity("mm", 0.8, 5.0, "Outside thickness of a tube")]
    tube_wall_mm: Annotated[float, quantity("mm", 0.05, 0.6, "Wall of a tube")] = 0.2
    passes: Annotated[int, whole(1, 2, "Liquid passes, side by side in the air")] = 2
    fins_per_inch: Annotated[float, quantity("1/inch", 6.0, 30.0, "Fins per 25.4 mm")]
    fin_thickness_mm: Annotated[float, quantity("mm", 0.03, 0.3, "Fin thickness")] = 0.08
    fin_conductivity_w_per_m_k: Annotated[
        float, quantity("W/(m K)", 10.0, 420.0, "Conductivity of the fins")
    ] = 380.0
    louvre_pitch_mm: Annotated[float, quantity("mm", 0.5, 3.0, "Louvre pitch")] = 1.2
    louvre_angle_deg: Annotated[float, quantity("deg", 8.0, 35.0, "Louvre angle")] = 27.0
    louvre_length_fraction: Annotated[
        float, quantity("1", 0.5, 0.95, "Louvre length over gap between tubes")
    ] = 0.85
    installation_factor: Annotated[
        float, quantity("1", 0.5, 1.0, "Installed over ideal conductance UA")
    ] = 0.85


Radiator = RatedRadiator | CoreRadiator
