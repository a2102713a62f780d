"""Margins, notes and laws of the liquid side, shared by every question that has a loop."""

from collections.abc import Iterator, Sequence
from typing import NamedTuple, Protocol

import numpy as np

from loopmargin_service.physics.curve import value_and_slope
from loopmargin_service.physics.loop import Loop
from loopmargin_service.questions import wording
from loopmargin_service.questions.affinity import PUMP_RANGE, pump_ratio
from loopmargin_service.questions.conversion import L_PER_MIN
from loopmargin_service.questions.loop_draws import DrawnLoop
from loopmargin_service.questions.margins import margin
from loopmargin_service.questions.naming import told_apart
from loopmargin_service.questions.operating_point import Point, stated_power
from loopmargin_service.questions.pipework import AnyBranch, Pipework
from loopmargin_service.questions.pump_speed import Required
from loopmargin_wire.answer import Basis, Margin, Note
from loopmargin_wire.part import Coolant, Pump, Reservoir, Tee, Water
from loopmargin_wire.pump_head import BranchState, ElementState, PumpState

# Common practice, no source: what a small pump wants at its inlet when nothing is stated.
SUCTION_HEAD_WANTED_M = 2.0
# Below this nothing flows. [L/min]
NOTHING = 1e-6


class LoopStates(Protocol):
    """What the states of a loop and of a machine have in common."""

    @property
    def flow_l_per_min(self) -> float:
        """Total flow."""

    @property
    def branches(self) -> tuple[BranchState, ...]:
        """Every branch."""

    @property
    def elements(self) -> Sequence[ElementState]:
        """Every element, in the order of the pipework."""

    @property
    def pumps(self) -> tuple[PumpState, ...]:
        """Every pump."""


class Described(NamedTuple):
    """A loop at its operating point, and what is said of it."""

    pipework: Pipework
    branches: Sequence[AnyBranch]
    point: Point
    states: LoopStates
    confidence: float


def required_flows(
    total_l_per_min: float, branches: Sequence[AnyBranch], density: float
) -> Required:
    """Turn the flows asked for into mass flows."""
    return Required(
        total_l_per_min * L_PER_MIN * density,
        {
            row: branch.required_flow_l_per_min * L_PER_MIN * density
            for row, branch in enumerate(branches)
            if branch.required_flow_l_per_min is not None
        },
    )


def loop_margins(
    described: Described, required: tuple[float, Required, float | None], drawn: DrawnLoop | None
) -> list[Margin]:
    """Judge flow, branches, head, air carrying and suction of a loop.

    *required* has the total flow [L/min], the flows as mass flows and the head that the loop
    takes at the total. [m]
    """
    pipework, branches, point, states, confidence = described
    wanted, masses, head = required
    return [
        _flow_margin(wanted, states.flow_l_per_min, confidence, drawn),
        *_branch_margins(branches, states.branches, confidence, drawn),
        *_head_margin(pipework.loop, point, (masses.total, head), confidence, drawn),
        *_air_margin(pipework, states.elements, confidence, drawn),
        *_suction_margins(states.pumps, confidence, drawn),
    ]


def _flow_margin(wanted: float, flow: float, confidence: float, drawn: DrawnLoop | None) -> Margin:
    """Judge the total flow."""
    surplus = None if drawn is None else drawn.surplus(drawn.flow_l_per_min - wanted)
    return margin("loop flow", wanted, flow, "L/min", confidence, surplus)


def _branch_margins(
    branches: Sequence[AnyBranch],
    states: Sequence[BranchState],
    confidence: float,
    drawn: DrawnLoop | None,
) -> Iterator[Margin]:
    """Judge the branches that a flow is required of."""
    names = told_apart([branch.name for branch in branches])
    for row, (branch, state) in enumerate(zip(branches, states, strict=True)):
        wanted = branch.required_flow_l_per_min
        if wanted is None:
            continue
        surplus = None if drawn is None else drawn.surplus(drawn.branch_l_per_min[row] - wanted)
        name = f"flow in {names[row]}"
        yield margin(name, wanted, state.flow_l_per_min, "L/min", confidence, surplus)


def _head_margin(
    loop: Loop,
    point: Point,
    required: tuple[float, float | None],
    confidence: float,
    drawn: DrawnLoop | None,
) -> list[Margin]:
    """Judge the head [m] at the required flow [kg/s], where one pump makes that clear."""
    flow, demand = required
    if len(loop.curves) > 1 or demand is None:
        return []
    volume = np.array([flow / float(point.liquid.pumps.density[0, 0])])
    capacity = float(value_and_slope(loop.curves[0], volume, point.speed_ratio[0])[0][0])
    surplus = None if drawn is None else drawn.surplus(drawn.head_surplus_m)
    return [margin("head at the required flow", demand, capacity, "m", confidence, surplus)]


def _air_margin(
    pipework: Pipework,
    elements: Sequence[ElementState],
    confidence: float,
    drawn: DrawnLoop | None,
) -> list[Margin]:
    """Judge the tube that is least able to carry air along."""
    tubes = [
        (element.element, piece.passage, abs(element.velocity_m_per_s), wanted)
        for element, piece in zip(elements, pipework.pieces, strict=True)
        if element.velocity_m_per_s is not None
        and (wanted := element.velocity_to_carry_air_m_per_s) is not None
    ]
    if not tubes:
        return []
    name, passage, velocity, wanted = min(tubes, key=lambda tube: tube[2] / tube[3])
    surplus = None
    if drawn is not None:
        surplus = drawn.surplus(drawn.velocity_m_per_s[passage] - wanted * drawn.carrying)
    criterion = f"velocity that carries air, {name}"
    return [margin(criterion, wanted, velocity, "m/s", confidence, surplus)]


def _suction_margins(
    pumps: Sequence[PumpState], confidence: float, drawn: DrawnLoop | None
) -> Iterator[Margin]:
    """Judge the suction head of every pump against common practice."""
    wanted = SUCTION_HEAD_WANTED_M
    names = told_apart([pump.pump for pump in pumps])
    for row, pump in enumerate(pumps):
        surplus = None if drawn is None else drawn.surplus(drawn.suction_head_m[row] - wanted)
        name = f"suction head, {names[row]}"
        yield margin(name, wanted, pump.suction_head_m, "m", confidence, surplus)


def loop_basis(branches: Sequence[AnyBranch], coolant: Coolant) -> tuple[Basis, ...]:
    """Name the laws behind the flows."""
    laws = [wording.WATER if isinstance(coolant, Water) else wording.GLYCOL, wording.FRICTION]
    laws += [wording.FITTINGS, wording.COUPLINGS, wording.NETWORK, wording.AFFINITY]
    if any(isinstance(element, Tee) for branch in branches for element in branch.elements):
        laws.append(wording.TEES)
    return (*laws, wording.AIR_CARRYING)


def transitional_notes(elements: Sequence[ElementState]) -> list[Note]:
    """Note the tubes that flow between laminar and turbulent."""
    return [
        Note(code="transitional_flow", text=f"{element.element} {wording.TRANSITIONAL_NOTE}.")
        for element in elements
        if element.regime == "transitional"
    ]


def rising_air_notes(elements: Sequence[ElementState]) -> list[Note]:
    """Note the tubes in which air rises against the flow."""
    return [
        Note(
            code="air_rises_against_flow",
            text=f"in {element.element} the coolant is slower than a bubble that fills the bore: "
            "lay it so that air can leave upward, or raise the flow while bleeding.",
        )
        for element in elements
        if element.velocity_m_per_s is not None
        and element.slug_rise_velocity_m_per_s is not None
        and abs(element.velocity_m_per_s) < element.slug_rise_velocity_m_per_s
    ]


def inlet_notes(reservoir: Reservoir | None) -> list[Note]:
    """Note what was assumed about the pump inlet, and about a reservoir not described."""
    text = f"A pump inlet is judged against {SUCTION_HEAD_WANTED_M:g} m of suction head, "
    text += "common practice, no source; use the maker's figure where there is one."
    notes = [Note(code="suction_head_assumed", text=text)]
    if reservoir is None:
        text = "An open reservoir 100 mm above the first pump's inlet is assumed."
        notes.append(Note(code="reservoir_assumed", text=text, pointer="/reservoir"))
    return notes


def pump_notes(pumps: Sequence[Pump], states: Sequence[PumpState]) -> list[Note]:
    """Note speeds outside the affinity laws, flows beyond a curve and shut check valves."""
    notes = []
    low, high = PUMP_RANGE
    for row, (pump, state) in enumerate(zip(pumps, states, strict=True)):
        ratio = pump_ratio(pump)
        pointer = f"/pumps/{row}"
        if not low <= ratio <= high:
            text = f"{pump.name} runs at {ratio:.2f} times the speed of its curve; the affinity "
            text += f"laws of flow and head are good for {low:g} to {high:g}."
            notes.append(Note(code="affinity_range", text=text, pointer=pointer + "/speed_rpm"))
        if state.flow_l_per_min > pump.curve[-1].flow_l_per_min * ratio:
            text = f"{pump.name} works beyond the last point of its curve."
            notes.append(Note(code="beyond_curve", text=text, pointer=pointer + "/curve"))
        if state.flow_l_per_min < NOTHING:
            text = f"{pump.name} delivers nothing: the others hold its check valve shut."
            notes.append(Note(code="pump_shut", text=text, pointer=pointer))
    return notes


def power_notes(pumps: Sequence[Pump], states: Sequence[PumpState]) -> list[Note]:
    """Note pumps that are stated to take less than they give to the coolant."""
    return [
        Note(
            code="pump_power_below_its_work",
            text=f"{pump.name} is stated to take {stated_power(pump):.2g} W and gives the coolant "
            f"{state.hydraulic_power_w:.2g} W of work, so that much is counted; a real pump takes "
            "several times its work: state its electrical power.",
            pointer=f"/pumps/{row}/electrical_power_w",
        )
        for row, (pump, state) in enumerate(zip(pumps, states, strict=True))
        if state.electrical_power_w > stated_power(pump)
    ]
