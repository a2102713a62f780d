"""`steady-state`: the whole machine solved together at equilibrium."""

from typing import Annotated, Literal

from msgspec import Meta

from loopmargin_wire.answer import Answer, Question, Solve, State
from loopmargin_wire.noise import NoiseState
from loopmargin_wire.part import (
    Adapter,
    Bend,
    Coolant,
    Fans,
    Grille,
    Part,
    PressureDrop,
    Pump,
    QuickDisconnect,
    Reservoir,
    ReservoirPorts,
    Room,
    Tee,
    Tube,
)
from loopmargin_wire.pump_head import BranchState, ElementState, PumpState
from loopmargin_wire.quantity import (
    AirFlow,
    AirPressure,
    Conductance,
    Confidence,
    CoolantTemperatureC,
    Difference,
    ElectricalPowerW,
    Flow,
    FlowLPerMin,
    Fraction,
    Name,
    NodeName,
    Number,
    Power,
    Resistance,
    ResistanceKPerW,
    Temperature,
    Velocity,
    quantity,
)
from loopmargin_wire.radiator import Radiator
from loopmargin_wire.sound import Listener
from loopmargin_wire.supply_headroom import Supply
from loopmargin_wire.uncertainty import Simulation, Uncertainties


class ConstantResistance(Part, tag_field="kind", tag="constant", frozen=True, kw_only=True):
    """A block of one resistance, whatever the flow."""

    resistance_k_per_w: ResistanceKPerW


class ResistanceCurve(Part, tag_field="kind", tag="curve", frozen=True, kw_only=True):
    """A block by minimum + factor / flow**exponent, with the flow in L/min."""

    minimum_k_per_w: ResistanceKPerW
    factor_k_per_w: ResistanceKPerW
    exponent: Annotated[float, quantity("1", 0.2, 1.0, "Exponent of flow")] = 0.6


class ResistancePoint(Part, frozen=True, kw_only=True):
    """One measured point of flow and resistance."""

    flow_l_per_min: FlowLPerMin
    resistance_k_per_w: Annotated[float, quantity("K/W", 0.0005, 5.0, "Measured resistance")]


class ResistancePoints(Part, tag_field="kind", tag="points", frozen=True, kw_only=True):
    """A block by points, fitted with minimum + factor / flow**exponent."""

    points: Annotated[tuple[ResistancePoint, ...], Meta(min_length=1, max_length=30)]


BlockResistance = ConstantResistance | ResistanceCurve | ResistancePoints


class HeatedBlock(Part, tag_field="kind", tag="block", frozen=True, kw_only=True):
    """A water block on a part that draws power.

    The resistances are from the part's case to the coolant entering the block. The peak
    is the power drawn for up to 10 ms, over the sustained power; the supply sees it.
    """

    name: Name = "block"
    load: Literal["processor", "card", "other"]
    power_w: Annotated[float, quantity("W", 0.0, 3000.0, "Sustained power of the part")]
    peak_over_sustained: Annotated[
        float, quantity("1", 1.0, 4.0, "Peak power up to 10 ms over sustained power")
    ] = 1.0
    captured_fraction: Annotated[
        float, quantity("1", 0.3, 1.0, "Share of the heat that reaches the coolant")
    ] = 1.0
    pressure_drop: PressureDrop
    resistance: BlockResistance
    interface_k_per_w: ResistanceKPerW = 0.02
    limit_c: Annotated[float, quantity("degC", 30.0, 150.0, "Highest allowed part temperature")]


class FannedRadiator(Part, tag_field="kind", tag="radiator", frozen=True, kw_only=True):
    """A radiator with its fans.

    `intake` draws room air into the case, `exhaust` blows case air into the room, and
    `outside` stands in the room air on both sides.
    """

    name: Name = "radiator"
    radiator: Radiator
    pressure_drop: PressureDrop
    fans: Fans
    grille: Grille | None = None
    air_path: Literal["intake", "exhaust", "outside"]


MachineElement = (
    Tube | Bend | Adapter | Tee | QuickDisconnect | ReservoirPorts | HeatedBlock | FannedRadiator
)


class MachineBranch(Part, frozen=True, kw_only=True):
    """Elements in series between two junctions, in the order from the first to the second."""

    name: Name
    from_node: NodeName = "delivery"
    to_node: NodeName = "suction"
    elements: Annotated[tuple[MachineElement, ...], Meta(min_length=1, max_length=60)]
    required_flow_l_per_min: FlowLPerMin | None = None


class Opening(Part, frozen=True, kw_only=True):
    """An opening of the case that air may pass either way."""

    name: Name = "opening"
    area_cm2: Annotated[float, quantity("cm2", 5.0, 5000.0, "Whole area of the opening")]
    grille: Grille


class CaseFans(Part, frozen=True, kw_only=True):
    """Fans on the case that cool no radiator."""

    name: Name = "case fans"
    fans: Fans
    area_cm2: Annotated[float, quantity("cm2", 20.0, 5000.0, "Area that the grille covers")]
    grille: Grille | None = None
    air_path: Literal["intake", "exhaust"]


class Case(Part, frozen=True, kw_only=True):
    """The enclosure between room and machine."""

    openings: Annotated[tuple[Opening, ...], Meta(min_length=1, max_length=12)]
    fans: Annotated[tuple[CaseFans, ...], Meta(max_length=12)] = ()


class SteadyStateQuestion(Question, frozen=True, kw_only=True):
    """How warm, how fast and how power-hungry is the whole machine once it has settled?

    Chances come from machines drawn at random; without `uncertainty` there are none. With a
    `listener` every fan and pump needs its `sound`, and the noise is judged as well.
    """

    room: Room
    coolant: Coolant
    pumps: Annotated[tuple[Pump, ...], Meta(min_length=1, max_length=4)]
    branches: Annotated[tuple[MachineBranch, ...], Meta(min_length=1, max_length=24)]
    reservoir: Reservoir | None = None
    case: Case
    rest_w: ElectricalPowerW
    supply: Supply
    supply_air: Literal["room", "case"] = "room"
    supply_margin_fraction: Fraction = 0.10
    coolant_limit_c: CoolantTemperatureC
    required_flow_l_per_min: FlowLPerMin
    confidence: Confidence = 0.95
    uncertainty: Uncertainties | None = Uncertainties()
    listener: Listener | None = None


class NodeState(State, frozen=True, kw_only=True):
    """Coolant at one junction."""

    node: NodeName
    coolant_c: Temperature


class MachineElementState(ElementState, frozen=True, kw_only=True):
    """One element with the coolant that enters and leaves it."""

    coolant_in_c: Temperature
    coolant_out_c: Temperature


class ComponentState(State, frozen=True, kw_only=True):
    """One cooled part."""

    component: Name
    component_c: Temperature
    limit_c: Temperature
    coolant_in_c: Temperature
    heat_to_coolant_w: Power
    resistance_k_per_w: Resistance


class RadiatorPoint(State, frozen=True, kw_only=True):
    """One radiator at the operating point."""

    radiator: Name
    heat_w: Power
    conductance_w_per_k: Conductance
    coolant_in_c: Temperature
    coolant_out_c: Temperature
    air_in_c: Temperature
    air_out_c: Temperature
    air_flow_m3_per_h: AirFlow
    face_velocity_m_per_s: Velocity
    air_pressure_drop_pa: AirPressure


class AirPathState(State, frozen=True, kw_only=True):
    """Air through one opening or set of case fans, positive into the case."""

    name: Name
    air_flow_m3_per_h: AirFlow


class CaseState(State, frozen=True, kw_only=True):
    """Air inside the case."""

    air_c: Temperature
    pressure_pa: AirPressure
    paths: Annotated[tuple[AirPathState, ...], Meta(max_length=24)]


class HeatBalance(State, frozen=True, kw_only=True):
    """Where the heat goes; the residual is what the solve left unexplained."""

    parts_to_coolant_w: Power
    pumps_to_coolant_w: Power
    radiators_to_air_w: Power
    residual_w: Power
    to_case_air_w: Power
    to_room_w: Power


class MachineSolve(Solve, frozen=True, kw_only=True):
    """How the iteration over flow, air and heat ended; `residual` is that of the heat balance."""

    coolant_flow_residual: Annotated[
        Number, Meta(description="Largest relative step or imbalance left in coolant flows [1]")
    ]
    air_flow_residual: Annotated[
        Number, Meta(description="Largest relative step or imbalance left in air flows [1]")
    ]
    temperature_step_k: Annotated[Number, Meta(description="Last movement of any temperature [K]")]


class MachineState(State, frozen=True, kw_only=True):
    """The machine at equilibrium; wall power is absent when the supply cannot carry it."""

    coolant_hottest_c: Temperature
    coolant_mean_c: Temperature
    rise_over_room_k: Difference
    flow_l_per_min: Flow
    dc_power_w: Power
    wall_power_w: Power | None
    nodes: Annotated[tuple[NodeState, ...], Meta(max_length=60)]
    components: Annotated[tuple[ComponentState, ...], Meta(max_length=1500)]
    radiators: Annotated[tuple[RadiatorPoint, ...], Meta(max_length=1500)]
    pumps: Annotated[tuple[PumpState, ...], Meta(max_length=4)]
    branches: Annotated[tuple[BranchState, ...], Meta(max_length=24)]
    elements: Annotated[tuple[MachineElementState, ...], Meta(max_length=1500)]
    case: CaseState
    heat: HeatBalance
    noise: NoiseState | None = None
    simulation: Simulation | None = None
    solve: MachineSolve


class SteadyStateAnswer(Answer, frozen=True, kw_only=True):
    """Temperatures, flows, air, heat balance and the margins of radiator, pump and supply."""

    question: SteadyStateQuestion
    state: MachineState | None
