"""`pump-head`: does the pump carry the required flow against the loop?"""

from typing import Annotated, Literal

from msgspec import Meta

from loopmargin_wire.answer import Answer, Question, Solve, State
from loopmargin_wire.part import (
    Adapter,
    Bend,
    Coolant,
    HydraulicBlock,
    HydraulicRadiator,
    Part,
    Pump,
    QuickDisconnect,
    Reservoir,
    ReservoirPorts,
    Room,
    Tee,
    Tube,
)
from loopmargin_wire.quantity import (
    Confidence,
    CoolantTemperatureC,
    Flow,
    FlowLPerMin,
    Head,
    Name,
    NodeName,
    Number,
    Power,
    Pressure,
    Speed,
    Velocity,
)
from loopmargin_wire.uncertainty import LoopUncertainty, Simulation

Element = (
    Tube
    | Bend
    | Adapter
    | Tee
    | QuickDisconnect
    | ReservoirPorts
    | HydraulicBlock
    | HydraulicRadiator
)


class Branch(Part, frozen=True, kw_only=True):
    """Elements in series between two junctions; branches between equal junctions are parallel."""

    name: Name
    from_node: NodeName = "delivery"
    to_node: NodeName = "suction"
    elements: Annotated[tuple[Element, ...], Meta(min_length=1, max_length=60)]
    required_flow_l_per_min: FlowLPerMin | None = None


class PumpHeadQuestion(Question, frozen=True, kw_only=True):
    """At which flow do pump and loop meet, and does every branch get what it needs?"""

    coolant: Coolant
    coolant_c: CoolantTemperatureC
    room: Room
    pumps: Annotated[tuple[Pump, ...], Meta(min_length=1, max_length=4)]
    branches: Annotated[tuple[Branch, ...], Meta(min_length=1, max_length=24)]
    reservoir: Reservoir | None = None
    required_flow_l_per_min: FlowLPerMin
    confidence: Confidence = 0.95
    uncertainty: LoopUncertainty | None = LoopUncertainty()


class ElementState(State, frozen=True, kw_only=True):
    """One element at the operating point; velocity and Reynolds number where a bore is known.

    Regime and the two air velocities are for tubes: above the first, the flow carries air down
    a vertical tube; below the slug rise velocity, air rises against the flow.
    """

    branch: Name
    element: Name
    pressure_drop_kpa: Pressure
    velocity_m_per_s: Velocity | None = None
    reynolds: Number | None = None
    regime: Literal["laminar", "transitional", "turbulent"] | None = None
    velocity_to_carry_air_m_per_s: Velocity | None = None
    slug_rise_velocity_m_per_s: Velocity | None = None


class BranchState(State, frozen=True, kw_only=True):
    """One branch at the operating point."""

    branch: Name
    flow_l_per_min: Flow
    pressure_drop_kpa: Pressure


class PumpState(State, frozen=True, kw_only=True):
    """One pump at the operating point."""

    pump: Name
    flow_l_per_min: Flow
    head_m: Head
    speed_rpm: Speed
    hydraulic_power_w: Power
    electrical_power_w: Power
    heat_to_coolant_w: Power
    inlet_pressure_kpa: Pressure
    suction_head_m: Head


class CurvePoint(State, frozen=True, kw_only=True):
    """Pump head and loop head at one total flow."""

    flow_l_per_min: Flow
    pump_head_m: Head
    loop_head_m: Head


class LoopState(State, frozen=True, kw_only=True):
    """The operating point of the whole loop."""

    flow_l_per_min: Flow
    head_m: Head
    speed_fraction_needed: (
        Annotated[
            Number,
            Meta(
                description="Pump speed for the required flows over speed now [1]; null where none "
                "up to four times this one is enough, or where a note says that it was not found"
            ),
        ]
        | None
    )
    pumps: Annotated[tuple[PumpState, ...], Meta(max_length=4)]
    branches: Annotated[tuple[BranchState, ...], Meta(max_length=24)]
    elements: Annotated[tuple[ElementState, ...], Meta(max_length=1500)]
    curve: Annotated[tuple[CurvePoint, ...], Meta(max_length=100)]
    simulation: Simulation | None = None
    solve: Solve


class PumpHeadAnswer(Answer, frozen=True, kw_only=True):
    """Operating point, margins of flow, head and suction, and the drop of every element."""

    question: PumpHeadQuestion
    state: LoopState | None
