"""Parts that several questions share: coolant, room, pump, fan, radiator, loop elements.

A part that can be described in several ways is a tagged union; the tag is `kind`.
Curves are lists of points at one stated speed and must fall strictly.
"""

from typing import Annotated, Literal

from msgspec import Meta

from loopmargin_wire.quantity import (
    AirPressurePa,
    AirTemperatureC,
    AltitudeM,
    BoreMm,
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
    words,
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
    affinity laws. The electrical power is that at the speed of the curve; what of it does not
    warm the loop warms the air of the case, where the pump stands. Sound counts where there is
    a listener.
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
    """A fan by its curve at one speed and at 1.204 kg/m3 of air.

    Power and sound count where the whole machine is asked about, the sound also for `noise`.
    """

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
    form: Annotated[
        Literal["perforated_plate", "wire_mesh"],
        words("What is open: holes in a plate, or the meshes of a woven wire"),
    ] = "perforated_plate"


class LossCoefficient(Part, tag_field="kind", tag="loss_coefficient", frozen=True, kw_only=True):
    """A grille, mesh or filter by its loss coefficient on the approach velocity."""

    loss_coefficient: Annotated[float, quantity("1", 0.0, 500.0, "Loss coefficient")]


Grille = FreeArea | LossCoefficient


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
    path: Annotated[
        Literal["run", "branch"],
        words("Way of the coolant: straight through (`run`) or round the corner (`branch`)"),
    ]
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
