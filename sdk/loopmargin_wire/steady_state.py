"""`steady-state`: the whole machine solved together at equilibrium."""

from typing import Annotated, Literal

from msgspec import Meta

from loopmargin_wire.answer import Answer, Question, Solve, State
from loopmargin_wire.block import BlockResistance as BlockResistance  # noqa: PLC0414 - named here for every importer
from loopmargin_wire.block import ConstantResistance as ConstantResistance  # noqa: PLC0414
from loopmargin_wire.block import HeatedBlock as HeatedBlock  # noqa: PLC0414
from loopmargin_wire.block import ResistanceCurve as ResistanceCurve  # noqa: PLC0414
from loopmargin_wire.block import ResistancePoint as ResistancePoint  # noqa: PLC0414
from loopmargin_wire.block import ResistancePoints as ResistancePoints  # noqa: PLC0414
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
    Current,
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
    Temperature,
    Velocity,
    quantity,
    words,
)
from loopmargin_wire.radiator import Radiator
from loopmargin_wire.sound import Listener
from loopmargin_wire.supply_headroom import Supply
from loopmargin_wire.uncertainty import Simulation, Uncertainties


class FannedRadiator(Part, tag_field="kind", tag="radiator", frozen=True, kw_only=True):
    """A radiator with its fans."""

    name: Name = "radiator"
    radiator: Radiator
    pressure_drop: PressureDrop
    fans: Fans
    grille: Grille | None = None
    air_path: Annotated[
        Literal["intake", "exhaust", "outside"],
        words(
            "Way of the air: `intake` draws room air into the case, `exhaust` blows case air into "
            "the room, `outside` stands in the room air on both sides"
        ),
    ]


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
    air_path: Annotated[
        Literal["intake", "exhaust"],
        words(
            "Way of the air: `intake` draws room air into the case, `exhaust` blows case air into "
            "the room"
        ),
    ]


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
    supply_air: Annotated[
        Literal["room", "case"],
        words(
            "Where the supply draws its air from, which derates it; it blows its loss into the "
            "room either way, and the air that it draws from the case is not counted"
        ),
    ] = "room"
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
    """Where the heat goes; the residual is what the solve left unexplained.

    Radiators, case air, fans outside the case and the loss of the supply add up to what
    warms the room, but for the residual. The case air gets the rest, what blocks miss, fans on
    the case, and what pumps take and do not give to the coolant. A supply that cannot carry the
    load has no loss to state.
    """

    parts_to_coolant_w: Power
    pumps_to_coolant_w: Power
    radiators_to_air_w: Power
    residual_w: Power
    to_case_air_w: Power
    fans_to_room_w: Power
    supply_to_room_w: Power
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
    """The machine at equilibrium; wall power and current are absent if the supply is too small."""

    coolant_hottest_c: Temperature
    coolant_mean_c: Temperature
    rise_over_room_k: Difference
    flow_l_per_min: Flow
    dc_power_w: Power
    wall_power_w: Power | None
    wall_current_a: Current | None
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
