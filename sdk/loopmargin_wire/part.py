"""Parts that several questions share: coolant, room, pump, fan, radiator, loop elements.

A part that can be described in several ways is a tagged union; the tag is `kind`.
Curves are lists of points at one stated speed and must fall strictly.
"""

from typing import Annotated, Literal

from msgspec import Meta

from loopmargin_wire.quantity import (
    AirFlowM3PerH,
    AirPressurePa,
    AirTemperatureC,
    AltitudeM,
    BoreMm,
    FaceLengthMm,
    FlowLPerMin,
    HeadM,
    KvM3PerH,
    LengthMm,
    MotorPowerW,
    Name,
    NodeName,
    PointAirFlowM3PerH,
    PointFlowLPerMin,
    PressureDropKpa,
    SpeedRpm,
    quantity,
    whole,
)
from loopmargin_wire.sound import (
    FanInstallationDb,
    FanLevelPerDecadeDb,
    PumpInstallationDb,
    PumpLevelPerDecadeDb,
    SoundSource,
)
from loopmargin_wire.strict import Part as Part  # noqa: PLC0414 - named here for every importer


class Room(Part, frozen=True, kw_only=True):
    """The air that the machine stands in."""

    air_c: AirTemperatureC
    altitude_m: AltitudeM = 0.0


class Water(Part, tag_field="kind", tag="water", frozen=True, kw_only=True):
    """Water with corrosion inhibitor, taken as pure water."""


class EthyleneGlycol(Part, tag_field="kind", tag="ethylene_glycol", frozen=True, kw_only=True):
    """Ethylene glycol in water."""

    mass_fraction: Annotated[float, quantity("1", 0.0, 0.6, "Mass of glycol over mass of mix")]


class PropyleneGlycol(Part, tag_field="kind", tag="propylene_glycol", frozen=True, kw_only=True):
    """Propylene glycol in water."""

    mass_fraction: Annotated[float, quantity("1", 0.0, 0.6, "Mass of glycol over mass of mix")]


Coolant = Water | EthyleneGlycol | PropyleneGlycol


class HeadPoint(Part, frozen=True, kw_only=True):
    """One point of a pump curve."""

    flow_l_per_min: PointFlowLPerMin
    head_m: HeadM


class Pump(Part, frozen=True, kw_only=True):
    """A pump by its curve at one speed, and the speed it is run at.

    Two points that start at zero flow are joined by a parabola with its top there;
    three or more by a smooth curve through all of them. Other speeds follow from the
    affinity laws. The electrical power is that at the speed of the curve.
    """

    name: Name = "pump"
    curve: Annotated[tuple[HeadPoint, ...], Meta(min_length=2, max_length=30)]
    curve_speed_rpm: SpeedRpm
    speed_rpm: SpeedRpm
    electrical_power_w: MotorPowerW = 0.0
    heat_to_coolant_fraction: Annotated[
        float,
        quantity("1", 0.0, 1.0, "Share of the pump's electrical power that warms the loop"),
    ] = 0.85
    from_node: NodeName = "suction"
    to_node: NodeName = "delivery"
    sound: SoundSource | None = None
    level_per_decade_db: PumpLevelPerDecadeDb = 40.0
    installation_noise_db: PumpInstallationDb = 0.0


class FanPoint(Part, frozen=True, kw_only=True):
    """One point of a fan curve."""

    air_flow_m3_per_h: PointAirFlowM3PerH
    pressure_pa: AirPressurePa


class Fan(Part, frozen=True, kw_only=True):
    """A fan by its curve at one speed and at 1.204 kg/m3 of air."""

    name: Name = "fan"
    curve: Annotated[tuple[FanPoint, ...], Meta(min_length=2, max_length=30)]
    curve_speed_rpm: SpeedRpm
    electrical_power_w: MotorPowerW = 0.0
    sound: SoundSource | None = None
    level_per_decade_db: FanLevelPerDecadeDb = 55.0


class Fans(Part, frozen=True, kw_only=True):
    """Equal fans side by side on one radiator or opening, at one speed."""

    fan: Fan
    count: Annotated[int, whole(1, 20, "Fans side by side")] = 1
    speed_rpm: SpeedRpm
    installation_noise_db: FanInstallationDb = 3.0


class FreeArea(Part, tag_field="kind", tag="free_area", frozen=True, kw_only=True):
    """A grille, mesh or filter by how open it is."""

    free_area_fraction: Annotated[float, quantity("1", 0.1, 0.95, "Open area over whole area")]
    form: Literal["perforated_plate", "wire_mesh"] = "perforated_plate"


class LossCoefficient(Part, tag_field="kind", tag="loss_coefficient", frozen=True, kw_only=True):
    """A grille, mesh or filter by its loss coefficient on the approach velocity."""

    loss_coefficient: Annotated[float, quantity("1", 0.0, 500.0, "Loss coefficient")]


Grille = FreeArea | LossCoefficient


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
    basis: Literal["coolant_inlet", "coolant_mean", "coolant_outlet"]
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


class DropPoint(Part, frozen=True, kw_only=True):
    """One measured point of flow and pressure drop."""

    flow_l_per_min: FlowLPerMin
    pressure_drop_kpa: PressureDropKpa


class DropPoints(Part, tag_field="kind", tag="points", frozen=True, kw_only=True):
    """Pressure drop by points, fitted with a linear and a quadratic term."""

    points: Annotated[tuple[DropPoint, ...], Meta(min_length=1, max_length=30)]
    measured_with: Coolant
    measured_at_c: Annotated[float, quantity("degC", 1.0, 95.0, "Coolant temperature then")] = 20.0


class DropCoefficients(Part, tag_field="kind", tag="coefficients", frozen=True, kw_only=True):
    """Pressure drop as linear times flow plus quadratic times flow squared."""

    linear_kpa_per_l_per_min: Annotated[float, quantity("kPa/(L/min)", 0.0, 100.0, "Linear term")]
    quadratic_kpa_per_l_per_min2: Annotated[
        float, quantity("kPa/(L/min)2", 0.0, 100.0, "Quadratic term")
    ]
    measured_with: Coolant
    measured_at_c: Annotated[float, quantity("degC", 1.0, 95.0, "Coolant temperature then")] = 20.0


class DropKv(Part, tag_field="kind", tag="kv", frozen=True, kw_only=True):
    """Pressure drop by a flow coefficient."""

    kv_m3_per_h: KvM3PerH


PressureDrop = DropPoints | DropCoefficients | DropKv


class Tube(Part, tag_field="kind", tag="tube", frozen=True, kw_only=True):
    """A straight or gently laid tube."""

    name: Name = "tube"
    bore_mm: BoreMm
    length_mm: LengthMm
    roughness_um: Annotated[float, quantity("um", 0.0, 100.0, "Wall roughness")] = 1.5


class Bend(Part, tag_field="kind", tag="bend", frozen=True, kw_only=True):
    """Smooth bends, arc friction included."""

    name: Name = "bend"
    bore_mm: BoreMm
    angle_deg: Annotated[float, quantity("deg", 5.0, 180.0, "Angle of one bend")] = 90.0
    radius_over_bore: Annotated[float, quantity("1", 1.0, 20.0, "Centre-line radius over bore")] = (
        3.0
    )
    count: Annotated[int, whole(1, 100, "Bends in series")] = 1
    roughness_um: Annotated[float, quantity("um", 0.0, 100.0, "Wall roughness")] = 1.5


class Adapter(Part, tag_field="kind", tag="adapter", frozen=True, kw_only=True):
    """Sharp-cornered angled adapters; an angle of zero is a straight connector.

    `tube_bore_mm` is the bore of the tube on both sides, the adapter's own where it is absent.
    """

    name: Name = "adapter"
    bore_mm: BoreMm
    angle_deg: Annotated[float, quantity("deg", 0.0, 90.0, "Angle of one adapter")] = 90.0
    tube_bore_mm: BoreMm | None = None
    count: Annotated[int, whole(1, 100, "Adapters in series")] = 1


class Tee(Part, tag_field="kind", tag="tee", frozen=True, kw_only=True):
    """Tees passed straight through (`run`) or round the corner (`branch`)."""

    name: Name = "tee"
    bore_mm: BoreMm
    path: Literal["run", "branch"]
    count: Annotated[int, whole(1, 100, "Tees in series")] = 1


class QuickDisconnect(Part, tag_field="kind", tag="quick_disconnect", frozen=True, kw_only=True):
    """Mated pairs of quick disconnects by Kv."""

    name: Name = "quick disconnect"
    kv_m3_per_h: KvM3PerH
    count: Annotated[int, whole(1, 100, "Mated pairs in series")] = 1


class ReservoirPorts(Part, tag_field="kind", tag="reservoir", frozen=True, kw_only=True):
    """A reservoir in the branch: coolant enters it through one port and leaves by another."""

    name: Name = "reservoir"
    bore_mm: BoreMm


class HydraulicBlock(Part, tag_field="kind", tag="block", frozen=True, kw_only=True):
    """A water block, seen by the pump."""

    name: Name = "block"
    pressure_drop: PressureDrop


class HydraulicRadiator(Part, tag_field="kind", tag="radiator", frozen=True, kw_only=True):
    """A radiator, seen by the pump."""

    name: Name = "radiator"
    pressure_drop: PressureDrop


class Reservoir(Part, frozen=True, kw_only=True):
    """Where the loop meets the air above the liquid; it fixes the static pressure."""

    node: NodeName = "suction"
    level_above_pump_mm: Annotated[
        float, quantity("mm", -1000.0, 3000.0, "Liquid surface above the pump inlet")
    ] = 100.0
    surface_pressure_kpa: Annotated[
        float,
        quantity("kPa", -50.0, 100.0, "Pressure above the surface, over the room's"),
    ] = 0.0
