"""`pump-head`: where pump and loop meet, and what every element takes."""

from collections.abc import Sequence

import numpy as np

from loopmargin_service.physics.coolant import Properties
from loopmargin_service.physics.loop import Liquid, Loop
from loopmargin_service.questions import loop_curve, loop_draws, parts, pipework, wording
from loopmargin_service.questions.affinity import FASTEST, pump_ratio, too_fast
from loopmargin_service.questions.conversion import L_PER_MIN, kelvin, out
from loopmargin_service.questions.draws import Draws
from loopmargin_service.questions.edition import EDITION
from loopmargin_service.questions.loop_curve import Found
from loopmargin_service.questions.loop_draws import DrawnLoop
from loopmargin_service.questions.loop_margins import (
    Described,
    inlet_notes,
    loop_basis,
    loop_margins,
    pump_notes,
    required_flows,
    rising_air_notes,
    transitional_notes,
)
from loopmargin_service.questions.margins import failing, fails
from loopmargin_service.questions.naming import told_apart
from loopmargin_service.questions.operating_point import (
    Point,
    Surroundings,
    branch_states,
    element_states,
    pump_states,
)
from loopmargin_service.questions.pipework import Pipework
from loopmargin_service.questions.pump_speed import Needed, Required, loop_head, total_flow
from loopmargin_service.questions.spreads import Quantity, simulation, support_notes
from loopmargin_wire.answer import Margin, Note, Outcome, Solve
from loopmargin_wire.part import Reservoir
from loopmargin_wire.pump_head import (
    LoopState,
    PumpHeadAnswer,
    PumpHeadQuestion,
)
from loopmargin_wire.uncertainty import Simulation

NEAR_BOILING_C = 90.0
UNSETTLED = Outcome(
    status="not_converged",
    reason="the flows of this loop did not settle",
    advice=("Check for elements of extreme size, such as a very narrow bore.",),
)


def answer(question: PumpHeadQuestion) -> PumpHeadAnswer:
    """Find the operating point and judge flow, head, air carrying and suction."""
    mix = parts.mix(question.coolant)
    parts.above_freezing(mix, question.coolant_c, ("coolant_c",))
    reservoir = question.reservoir or Reservoir(node=question.pumps[0].from_node)
    plumbing = pipework.build(question.branches, question.pumps, reservoir.node)
    fast = too_fast(question.pumps, ())
    if fast is not None:
        return _no_state(question, fast)
    here = parts.liquid(mix, question.coolant_c)
    liquid = uniform(plumbing.loop, here)
    ratios = np.array([[pump.speed_rpm / pump.curve_speed_rpm] for pump in question.pumps])
    required = required_flows(
        question.required_flow_l_per_min, question.branches, float(here.density[0])
    )
    found = loop_curve.find(plumbing.loop, liquid, ratios, required)
    if not found.flows.converged.all():
        return _no_state(question, UNSETTLED)
    point = Point(found.flows.flow, found.flows.pressure, liquid, ratios)
    around = Surroundings(parts.room_pressure(question.room), reservoir, kelvin(question.coolant_c))
    return _answer(question, plumbing, point, (required, around, found))


def uniform(loop: Loop, here: Properties) -> Liquid:
    """Give the same coolant to every place of a loop; one row stands for all elements."""
    everywhere = Properties(*(value[:, None] for value in here))
    pumps = Properties(*(np.repeat(value, len(loop.curves), axis=0) for value in everywhere))
    return Liquid(everywhere, everywhere, pumps)


def _answer(
    question: PumpHeadQuestion,
    plumbing: Pipework,
    point: Point,
    rest: tuple[Required, Surroundings, Found],
) -> PumpHeadAnswer:
    """Put the state, the margins and the notes together."""
    required, around, found = rest
    drawn = loop_draws.draw(question, plumbing.loop, point, (around, required.total))
    state = _state(question, plumbing, point, (around, found, drawn))
    described = Described(plumbing, question.branches, point, state, question.confidence)
    wanted = question.required_flow_l_per_min, required, found.head
    margins = loop_margins(described, wanted, drawn and drawn[1])
    return PumpHeadAnswer(
        edition=EDITION,
        outcome=_outcome(question, margins, found.speed),
        margins=tuple(margins),
        basis=loop_basis(question.branches, question.coolant),
        notes=tuple(_notes(question, state, found.speed)),
        cautions=(*wording.LIQUID_CAUTIONS, wording.ESTIMATE_CAUTION),
        question=question,
        state=state,
    )


def _state(
    question: PumpHeadQuestion,
    plumbing: Pipework,
    point: Point,
    rest: tuple[Surroundings, Found, tuple[Draws, DrawnLoop] | None],
) -> LoopState:
    """Describe the operating point and the draws about it."""
    around, found, drawn = rest
    loop = plumbing.loop
    density = float(point.liquid.pumps.density[0, 0])
    return LoopState(
        flow_l_per_min=out(float(total_flow(loop, point.flow)[0]) / density, L_PER_MIN),
        head_m=float(loop_head(loop, point.liquid, point.flow, point.speed_ratio)[0]),
        speed_fraction_needed=found.speed.factor,
        pumps=pump_states(loop, question.pumps, point, around),
        branches=branch_states(plumbing, question.branches, point),
        elements=element_states(plumbing, question.branches, point),
        curve=found.curve,
        simulation=None if drawn is None else _simulation(question, loop, drawn),
        solve=Solve(
            iterations=int(found.flows.iterations[0]), residual=float(found.flows.residual[0])
        ),
    )


def _simulation(
    question: PumpHeadQuestion, loop: Loop, drawn: tuple[Draws, DrawnLoop]
) -> Simulation:
    """Describe the draws: one spread for each quantity of interest."""
    shown = drawn[1]
    names = told_apart([branch.name for branch in question.branches])
    named = zip(names, shown.branch_l_per_min, strict=True)
    rows = [Quantity("coolant flow", "L/min", shown.flow_l_per_min)]
    if len(loop.curves) == 1:
        rows.append(Quantity("head left at the required flow", "m", shown.head_surplus_m))
    if len(question.branches) > 1:
        rows += [Quantity(f"flow in {name}", "L/min", flow) for name, flow in named]
    return simulation(drawn[0], rows, question.confidence, shown.settled)


def _outcome(question: PumpHeadQuestion, margins: Sequence[Margin], speed: Needed) -> Outcome:
    """Say that the point was found, and what would help where it is not enough."""
    short = failing(margins)
    if not short:
        return Outcome(status="solved")
    return Outcome(
        status="solved",
        reason=fails(short),
        advice=tuple(dict.fromkeys(_advice(criterion, question, speed) for criterion in short)),
    )


def _advice(criterion: str, question: PumpHeadQuestion, speed: Needed) -> str:
    """Say what helps against one failing criterion."""
    if criterion.startswith("velocity"):
        return "Raise the flow, use a narrower tube there, or lay it so that air can leave upward."
    if criterion.startswith("suction"):
        return (
            "Raise the reservoir above the pump, put it right before the inlet, or keep the "
            "coolant cooler."
        )
    if not speed.settled:
        return "Take the largest pressure drops out of the loop, or take a stronger pump."
    if speed.factor is None:
        return (
            "No speed up to four times this one is enough: shorten the loop, widen its narrowest "
            "part, put parts in parallel or take a stronger pump."
        )
    if speed.factor * max(pump_ratio(pump) for pump in question.pumps) > FASTEST:
        return (
            f"Take a stronger pump or take the largest pressure drops out of the loop: this one "
            f"would have to run at {speed.factor:.2f} times this speed, beyond {FASTEST:g} times "
            "that of its curve."
        )
    return (
        f"Run the pump at {speed.factor:.2f} times this speed if its maker allows it, or take the "
        "largest pressure drops out of the loop."
    )


def _notes(question: PumpHeadQuestion, state: LoopState, speed: Needed) -> list[Note]:
    """Note what was assumed and what stands near or outside the range of a law."""
    notes = [*transitional_notes(state.elements), *rising_air_notes(state.elements)]
    notes += pump_notes(question.pumps, state.pumps)
    notes += inlet_notes(question.reservoir)
    notes += support_notes(state.simulation)
    if not speed.settled:
        text = "The speed that the required flows need was not found: the loop did not settle "
        text += "at some speeds."
        notes.append(Note(code="speed_not_found", text=text, pointer="/pumps"))
    if question.coolant_c > NEAR_BOILING_C:
        notes.append(Note(code="near_boiling", text="Coolant near boiling.", pointer="/coolant_c"))
    return notes


def _no_state(question: PumpHeadQuestion, outcome: Outcome) -> PumpHeadAnswer:
    """Answer without numbers, and say why."""
    return PumpHeadAnswer(
        edition=EDITION,
        outcome=outcome,
        margins=(),
        basis=loop_basis(question.branches, question.coolant),
        notes=(),
        cautions=wording.LIQUID_CAUTIONS,
        question=question,
        state=None,
    )
