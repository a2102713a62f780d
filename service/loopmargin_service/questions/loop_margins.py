"""Margins, notes and laws of the liquid side, shared by every question that has a loop."""

from collections.abc import Sequence

import numpy as np

from loopmargin_service.physics.curve import value_and_slope
from loopmargin_service.physics.loop import Loop
from loopmargin_service.questions import uncertainty, wording
from loopmargin_service.questions.conversion import L_PER_MIN
from loopmargin_service.questions.margins import margin
from loopmargin_service.questions.operating_point import Point
from loopmargin_service.questions.pipework import AnyBranch
from loopmargin_service.questions.pump_speed import Required
from loopmargin_wire.answer import Basis, Margin, Note
from loopmargin_wire.part import Coolant, Pump, Reservoir, Tee, Water
from loopmargin_wire.pump_head import ElementState, PumpState

# Common practice, no source: what a small pump wants at its inlet when nothing is stated.
SUCTION_HEAD_WANTED_M = 2.0
AFFINITY_RANGE = (0.5, 1.1)
# Below this nothing flows. [L/min]
NOTHING = 1e-6


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


def flow_margin(
    criterion: str, wanted: float, flow: float, confidence: float, *, drawn: float | None = None
) -> Margin:
    """Judge a coolant flow in L/min."""
    spread = uncertainty.LOOP_FLOW * abs(flow)
    return margin(criterion, wanted, flow, "L/min", spread, confidence, drawn=drawn)


def branch_margins(
    branches: Sequence[AnyBranch], flows: Sequence[float], confidence: float
) -> list[Margin]:
    """Judge the branches that a flow is required of."""
    return [
        flow_margin(f"flow in {branch.name}", branch.required_flow_l_per_min, flow, confidence)
        for branch, flow in zip(branches, flows, strict=True)
        if branch.required_flow_l_per_min is not None
    ]


def head_margin(
    loop: Loop, point: Point, required: tuple[float, float | None], confidence: float
) -> list[Margin]:
    """Judge the head [m] at the required flow [kg/s], where one pump makes that clear."""
    flow, demand = required
    if len(loop.curves) > 1 or demand is None:
        return []
    volume = np.array([flow / float(point.liquid.pumps.density[0, 0])])
    capacity = float(value_and_slope(loop.curves[0], volume, point.speed_ratio[0])[0][0])
    spread = uncertainty.combined(
        uncertainty.LOOP_HEAD * demand, uncertainty.PUMP_HEAD * abs(capacity)
    )
    return [margin("head at the required flow", demand, capacity, "m", spread, confidence)]


def air_margin(elements: Sequence[ElementState], confidence: float) -> list[Margin]:
    """Judge the tube that is least able to carry air along."""
    tubes = [
        (element, abs(element.velocity_m_per_s), element.velocity_to_carry_air_m_per_s)
        for element in elements
        if element.velocity_m_per_s is not None
        and element.velocity_to_carry_air_m_per_s is not None
    ]
    if not tubes:
        return []
    element, velocity, wanted = min(tubes, key=lambda tube: tube[1] / tube[2])
    spread = uncertainty.combined(
        uncertainty.AIR_CARRYING_VELOCITY * wanted, uncertainty.LOOP_FLOW * velocity
    )
    criterion = f"velocity that carries air, {element.element}"
    return [margin(criterion, wanted, velocity, "m/s", spread, confidence)]


def suction_margins(pumps: Sequence[PumpState], confidence: float) -> list[Margin]:
    """Judge the suction head of every pump against common practice."""
    return [
        margin(
            f"suction head, {pump.pump}",
            SUCTION_HEAD_WANTED_M,
            pump.suction_head_m,
            "m",
            uncertainty.SUCTION_HEAD_M,
            confidence,
        )
        for pump in pumps
    ]


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
    low, high = AFFINITY_RANGE
    for row, (pump, state) in enumerate(zip(pumps, states, strict=True)):
        ratio = pump.speed_rpm / pump.curve_speed_rpm
        pointer = f"/pumps/{row}"
        if not low <= ratio <= high:
            text = f"{pump.name} runs at {ratio:.2f} times the speed of its curve; the affinity "
            text += f"laws are good for {low:g} to {high:g}."
            notes.append(Note(code="affinity_range", text=text, pointer=pointer + "/speed_rpm"))
        if state.flow_l_per_min > pump.curve[-1].flow_l_per_min * ratio:
            text = f"{pump.name} works beyond the last point of its curve."
            notes.append(Note(code="beyond_curve", text=text, pointer=pointer + "/curve"))
        if state.flow_l_per_min < NOTHING:
            text = f"{pump.name} delivers nothing: the others hold its check valve shut."
            notes.append(Note(code="pump_shut", text=text, pointer=pointer))
    return notes
