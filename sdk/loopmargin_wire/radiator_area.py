"""`radiator-area`: how much radiator face a heat load needs."""

from typing import Annotated

from msgspec import Meta

from loopmargin_wire.answer import Answer, Question, State
from loopmargin_wire.part import Coolant, Fans, Grille, Part, Room
from loopmargin_wire.quantity import (
    AirFlow,
    AirFlowM3PerH,
    AirPressure,
    Area,
    Conductance,
    Confidence,
    CoolantTemperatureC,
    Count,
    Difference,
    FlowLPerMin,
    HeatW,
    Number,
    Temperature,
    Velocity,
    quantity,
    whole,
)
from loopmargin_wire.radiator import Radiator
from loopmargin_wire.uncertainty import RadiatorUncertainty, Simulation


class AllowedRise(Part, tag_field="kind", tag="rise", frozen=True, kw_only=True):
    """The target as a rise of the coolant entering the radiator over the entering air."""

    rise_k: Annotated[float, quantity("K", 1.0, 60.0, "Coolant entering minus air entering")]


class AllowedCoolant(Part, tag_field="kind", tag="coolant", frozen=True, kw_only=True):
    """The target as a temperature of the coolant entering the radiator."""

    coolant_c: CoolantTemperatureC


Target = AllowedRise | AllowedCoolant


class GivenAirFlow(Part, tag_field="kind", tag="air_flow", frozen=True, kw_only=True):
    """The air through each section as a volume flow at room density."""

    air_flow_m3_per_h: AirFlowM3PerH


class GivenFaceVelocity(Part, tag_field="kind", tag="face_velocity", frozen=True, kw_only=True):
    """The air through each section as a mean velocity on the whole face."""

    face_velocity_m_per_s: Annotated[float, quantity("m/s", 0.1, 10.0, "Velocity on the face")]


class GivenFans(Part, tag_field="kind", tag="fans", frozen=True, kw_only=True):
    """The air through each section as fans working against core and grille."""

    fans: Fans
    grille: Grille | None = None


SectionAir = GivenAirFlow | GivenFaceVelocity | GivenFans


class RadiatorAreaQuestion(Question, frozen=True, kw_only=True):
    """How much radiator face does this heat need, and is the given radiator enough?

    Sections stand in series on the coolant, each with fresh room air.
    """

    heat_w: HeatW
    room: Room
    target: Target
    air: SectionAir
    coolant: Coolant
    flow_l_per_min: FlowLPerMin
    radiator: Radiator
    section_count: Annotated[int, whole(1, 20, "Sections installed, in series")] = 1
    confidence: Confidence = 0.95
    uncertainty: RadiatorUncertainty | None = RadiatorUncertainty()


class AirState(State, frozen=True, kw_only=True):
    """The air through one section at its operating point."""

    air_flow_m3_per_h: AirFlow
    face_velocity_m_per_s: Velocity
    pressure_drop_pa: AirPressure
    fan_pressure_pa: AirPressure | None = None
    air_out_c: Temperature


class AreaPoint(State, frozen=True, kw_only=True):
    """Face area needed at one face velocity; absent where no area suffices."""

    face_velocity_m_per_s: Velocity
    area_cm2: Area | None
    air_pressure_drop_pa: AirPressure


class RadiatorState(State, frozen=True, kw_only=True):
    """What the installed sections do at the target temperature."""

    rise_k: Difference
    conductance_needed_w_per_k: Conductance
    conductance_available_w_per_k: Conductance
    conductance_per_section_w_per_k: Conductance
    coolant_in_c: Temperature
    coolant_out_c: Temperature
    heat_carried_at_target_w: Number
    rise_at_heat_k: Difference
    area_installed_cm2: Area
    area_needed_cm2: Area | None
    area_per_watt_cm2_per_w: (
        Annotated[float, quantity("cm2/W", 0.0, 1e12, "Face area needed per watt")] | None
    )
    sections_needed: Count | None
    air: AirState
    area_curve: Annotated[tuple[AreaPoint, ...], Meta(max_length=100)]
    simulation: Simulation | None = None


class RadiatorAreaAnswer(Answer, frozen=True, kw_only=True):
    """Conductance, area and sections needed and available, with the air behind them."""

    question: RadiatorAreaQuestion
    state: RadiatorState | None
