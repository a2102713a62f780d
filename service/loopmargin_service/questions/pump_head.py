"""`pump-head`: where pump and loop meet, and what every element takes."""

import math
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from loopmargin_service.physics import network
from loopmargin_service.physics.coolant import TEMPERATURE_MAX, Properties
from loopmargin_service.physics.curve import value_and_slope
from loopmargin_service.physics.loop import GRAVITY, Liquid, Loop, loop_law, pump_gain
from loopmargin_service.physics.network import Array, Flows
from loopmargin_service.questions import parts, pipework, uncertainty, wording
from loopmargin_service.questions.conversion import L_PER_MIN, kelvin, out
from loopmargin_service.questions.edition import EDITION
from loopmargin_service.questions.margins import margin
from loopmargin_service.questions.operating_point import (
    Point,
    Surroundings,
    branch_states,
    case,
    element_states,
    pump_states,
)
from loopmargin_service.questions.pipework import AnyBranch, Pipework
from loopmargin_wire.answer import Basis, Margin, Note, Outcome, Solve
from loopmargin_wire.part import Pump, Reservoir, Tee
from loopmargin_wire.pump_head import (
    CurvePoint,
    ElementState,
    LoopState,
    PumpHeadAnswer,
    PumpHeadQuestion,
    PumpState,
)

# Speeds at which the loop is solved together, over the speed asked about.
SPEEDS = np.array([1.0, 0.25, 0.4, 0.55, 0.7, 0.85, 1.15, 1.35, 1.6, 2.0, 2.6, 4.0])
RUN = 0
ORDER = np.argsort(SPEEDS)
SORTED = SPEEDS[ORDER]
START_FLOW = 0.03
SPEED_TOLERANCE = 1e-6
SPEED_STEPS = 12
# Common practice, no source: what a small pump wants at its inlet when nothing is stated.
SUCTION_HEAD_WANTED_M = 2.0
AFFINITY_RANGE = (0.5, 1.1)


class Required(NamedTuple):
    """Flows asked for [kg/s]: through the whole loop, and by branch number."""

    total: float
    branches: dict[int, float]


def answer(question: PumpHeadQuestion) -> PumpHeadAnswer:
    """Find the operating point and judge flow, head, air carrying and suction."""
    mix = parts.mix(question.coolant)
    parts.above_freezing(mix, question.coolant_c, ("coolant_c",))
    reservoir = question.reservoir or Reservoir(node=question.pumps[0].from_node)
    plumbing = pipework.build(question.branches, question.pumps, reservoir.node)
    here = parts.liquid(mix, question.coolant_c)
    liquid = uniform(plumbing.loop, here)
    ratios = np.array([[pump.speed_rpm / pump.curve_speed_rpm] for pump in question.pumps])
    flows = _solve(plumbing.loop, liquid, ratios * SPEEDS)
    if not flows.converged[RUN]:
        return _unsolved(question)
    density = float(here.density[0])
    required = Required(
        question.required_flow_l_per_min * L_PER_MIN * density,
        {
            row: branch.required_flow_l_per_min * L_PER_MIN * density
            for row, branch in enumerate(question.branches)
            if branch.required_flow_l_per_min is not None
        },
    )
    point = case(flows.flow, flows.pressure, liquid, ratios * SPEEDS, RUN)
    around = Surroundings(parts.room_pressure(question.room), reservoir, kelvin(question.coolant_c))
    speeds = _Speeds(plumbing.loop, liquid, ratios, flows)
    return _answer(question, plumbing, point, (required, around, speeds))


def uniform(loop: Loop, here: Properties) -> Liquid:
    """Give the same coolant to every place of a loop."""

    def everywhere(count: int) -> Properties:
        return Properties(*(np.tile(value, (count, 1)) for value in here))

    return Liquid(
        everywhere(loop.passages.branch.size),
        everywhere(loop.components.branch.size),
        everywhere(len(loop.curves)),
    )


def _solve(loop: Loop, liquid: Liquid, ratios: Array) -> Flows:
    """Solve the loop at several speeds together."""
    start = np.tile(START_FLOW * SPEEDS, (len(loop.topology.tail), 1))
    return network.solve(loop.topology, loop_law(loop, liquid, ratios), start)


class _Speeds(NamedTuple):
    """The loop solved over the range of speeds."""

    loop: Loop
    liquid: Liquid
    ratios: Array
    flows: Flows

    def needed(self, required: Required) -> float | None:
        """Find the common factor on all speeds at which every required flow is reached."""
        reached = share_of_required(self.loop, self.flows.flow, required)[ORDER]
        if reached[-1] < 1.0:
            return None
        above = int(np.argmax(reached >= 1.0))
        guess = _interpolated(reached, above)
        flow = self.flows.flow[:, [ORDER[above]]] * (guess / float(SORTED[above]))
        low = (float(SORTED[above - 1]), float(reached[above - 1])) if above else (0.0, 0.0)
        return self._refine(
            required, (low, (float(SORTED[above]), float(reached[above]))), guess, flow
        )

    def _refine(
        self,
        required: Required,
        bracket: tuple[tuple[float, float], tuple[float, float]],
        speed: float,
        flow: Array,
    ) -> float | None:
        """Close in on the speed; flow goes almost in proportion to it."""
        low, high = bracket
        for _ in range(SPEED_STEPS):
            solved = network.solve(
                self.loop.topology, loop_law(self.loop, self.liquid, self.ratios * speed), flow
            )
            share = float(share_of_required(self.loop, solved.flow, required)[0])
            if not solved.converged.all():
                return None
            if abs(share - 1.0) < SPEED_TOLERANCE:
                return speed
            low, high = ((speed, share), high) if share < 1.0 else (low, (speed, share))
            speed = _between(low, high)
            flow = solved.flow / share
        return None


def _interpolated(reached: Array, above: int) -> float:
    """Guess the speed from three neighbouring shares, on logarithmic scales."""
    first = min(max(above - 1, 0), reached.size - 3)
    near = slice(first, first + 3)
    if above == 0 or reached[first] <= 0.0:
        return float(SORTED[above] / reached[above])
    share, speed = np.log(reached[near]), np.log(SORTED[near])
    weights = [
        np.prod([share[j] / (share[j] - share[i]) for j in range(3) if j != i]) for i in range(3)
    ]
    low = SORTED[above - 1]
    return float(np.clip(np.exp(np.dot(weights, speed)), low, SORTED[above]))


def _between(low: tuple[float, float], high: tuple[float, float]) -> float:
    """Interpolate for a share of one, by a power law where both ends allow it."""
    (slow, little), (fast, much) = low, high
    if little <= 0.0 or slow <= 0.0:
        return slow + (fast - slow) * (1.0 - little) / (much - little)
    power = math.log(fast / slow) / math.log(much / little)
    return float(slow * (1.0 / little) ** power)


def total_flow(loop: Loop, flow: Array) -> Array:
    """Give the flow through the junction that the first pump draws from. [kg/s]"""
    node = loop.pump_tail[0]
    tails = np.array(loop.topology.tail)[:, None] == node
    heads = np.array(loop.topology.head)[:, None] == node
    signed = np.where(tails, flow, 0.0) - np.where(heads, flow, 0.0)
    return np.asarray(np.maximum(signed, 0.0).sum(axis=0))


def share_of_required(loop: Loop, flow: Array, required: Required) -> Array:
    """Give the smallest flow over what is required of it, for each case. [-]"""
    shares = [total_flow(loop, flow) / required.total]
    shares += [flow[row] / wanted for row, wanted in required.branches.items()]
    return np.asarray(np.min(shares, axis=0))


def loop_head(loop: Loop, liquid: Liquid, flow: Array, ratios: Array) -> Array:
    """Give the head of the loop: power of all pumps over weight of the total flow. [m]"""
    pumped = flow[len(loop.branch_tail) :]
    gain, _ = pump_gain(loop.curves, liquid.pumps, pumped, ratios)
    power = (gain * pumped / liquid.pumps.density).sum(axis=0)
    weight = np.maximum(total_flow(loop, flow), 1e-12) / liquid.pumps.density[0]
    return np.asarray(power / (weight * liquid.pumps.density[0] * GRAVITY))


def _answer(
    question: PumpHeadQuestion,
    plumbing: Pipework,
    point: Point,
    rest: tuple[Required, Surroundings, _Speeds],
) -> PumpHeadAnswer:
    """Put the state, the margins and the notes together."""
    required, around, speeds = rest
    loop = plumbing.loop
    elements = element_states(plumbing, question.branches, point)
    pumps = pump_states(loop, question.pumps, point, around)
    branches = branch_states(plumbing, question.branches, point)
    density = float(point.liquid.pumps.density[0, 0])
    flow = out(float(total_flow(loop, point.flow)[0]) / density, L_PER_MIN)
    head = float(loop_head(loop, point.liquid, point.flow, point.speed_ratio)[0])
    curve = _curve(speeds)
    factor = speeds.needed(required)
    for_total = factor if not required.branches else speeds.needed(Required(required.total, {}))
    margins = [
        flow_margin("loop flow", question.required_flow_l_per_min, flow, question.confidence),
        *branch_margins(
            question.branches, [b.flow_l_per_min for b in branches], question.confidence
        ),
        *_head_margin(question, for_total, speeds),
        *air_margin(elements, question.confidence),
        *suction_margins(pumps, question.confidence),
    ]
    return PumpHeadAnswer(
        edition=EDITION,
        outcome=_outcome(margins, factor),
        margins=tuple(margins),
        basis=basis(question.branches, question.coolant.__class__.__name__),
        notes=tuple(_notes(question, elements, pumps)),
        cautions=(*wording.LIQUID_CAUTIONS, wording.ESTIMATE_CAUTION),
        question=question,
        state=LoopState(
            flow_l_per_min=flow,
            head_m=head,
            speed_fraction_needed=factor,
            pumps=pumps,
            branches=branches,
            elements=elements,
            curve=curve,
            solve=Solve(
                iterations=speeds.flows.iterations, residual=float(speeds.flows.residual[RUN])
            ),
        ),
    )


def _outcome(margins: Sequence[Margin], factor: float | None) -> Outcome:
    """Say that the point was found, and what would help where it is not enough."""
    failing = [item.criterion for item in margins if item.verdict == "fails"]
    if not failing:
        return Outcome(status="solved")
    if factor is None:
        advice = "No speed up to four times this one is enough: shorten the loop, widen its "
        advice += "narrowest part, put parts in parallel or take a stronger pump."
    else:
        advice = f"Run the pump at {factor:.2f} times this speed if its maker allows it, or take "
        advice += "the largest pressure drops out of the loop."
    return Outcome(status="solved", reason=f"fails: {', '.join(failing)}", advice=(advice,))


def flow_margin(criterion: str, wanted: float, flow: float, confidence: float) -> Margin:
    """Judge a coolant flow in L/min."""
    spread = uncertainty.LOOP_FLOW * abs(flow)
    return margin(criterion, wanted, flow, "L/min", spread, confidence)


def branch_margins(
    branches: Sequence[AnyBranch], flows: Sequence[float], confidence: float
) -> list[Margin]:
    """Judge the branches that a flow is required of."""
    return [
        flow_margin(f"flow in {branch.name}", branch.required_flow_l_per_min, flow, confidence)
        for branch, flow in zip(branches, flows, strict=True)
        if branch.required_flow_l_per_min is not None
    ]


def _head_margin(question: PumpHeadQuestion, factor: float | None, speeds: _Speeds) -> list[Margin]:
    """Judge the head at the required flow, where one pump makes that a clear question."""
    if len(question.pumps) > 1 or factor is None:
        return []
    curve = speeds.loop.curves[0]
    volume = np.array([question.required_flow_l_per_min * L_PER_MIN])
    now = float(speeds.ratios[0, 0])
    demand = float(value_and_slope(curve, volume, np.array([now * factor]))[0][0])
    capacity = float(value_and_slope(curve, volume, np.array([now]))[0][0])
    spread = uncertainty.combined(
        uncertainty.LOOP_HEAD * demand, uncertainty.PUMP_HEAD * abs(capacity)
    )
    return [margin("head at the required flow", demand, capacity, "m", spread, question.confidence)]


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


def _curve(speeds: _Speeds) -> tuple[CurvePoint, ...]:
    """Give pump head and loop head over flow, for a single pump."""
    if len(speeds.loop.curves) > 1:
        return ()
    flow = total_flow(speeds.loop, speeds.flows.flow)
    ratios = speeds.ratios * SPEEDS
    demand = loop_head(speeds.loop, speeds.liquid, speeds.flows.flow, ratios)
    volume = flow / speeds.liquid.pumps.density[0]
    capacity, _ = value_and_slope(speeds.loop.curves[0], volume, speeds.ratios[0])
    order = [n for n in ORDER if capacity[n] >= 0.0 and speeds.flows.converged[n]]
    return tuple(
        CurvePoint(
            flow_l_per_min=out(volume[n], L_PER_MIN),
            pump_head_m=float(capacity[n]),
            loop_head_m=float(demand[n]),
        )
        for n in order
    )


def basis(branches: Sequence[AnyBranch], fluid: str) -> tuple[Basis, ...]:
    """Name the laws behind the flows."""
    laws = [wording.WATER if fluid == "Water" else wording.GLYCOL, wording.FRICTION]
    laws += [wording.FITTINGS, wording.COUPLINGS, wording.NETWORK, wording.AFFINITY]
    if any(isinstance(element, Tee) for branch in branches for element in branch.elements):
        laws.append(wording.TEES)
    return (*laws, wording.AIR_CARRYING)


def _notes(
    question: PumpHeadQuestion, elements: Sequence[ElementState], pumps: Sequence[PumpState]
) -> list[Note]:
    """Note what was assumed and what stands near or outside the range of a law."""
    notes = [*transitional_notes(elements), *pump_notes(question.pumps, pumps)]
    notes.append(
        Note(
            code="suction_head_assumed",
            text=f"A pump inlet is judged against {SUCTION_HEAD_WANTED_M:g} m of suction head, "
            "common practice, no source; use the maker's figure where there is one.",
        )
    )
    if kelvin(question.coolant_c) > TEMPERATURE_MAX - 5.0:
        notes.append(Note(code="near_boiling", text="Coolant near boiling.", pointer="/coolant_c"))
    if question.reservoir is None:
        notes.append(
            Note(
                code="reservoir_assumed",
                text="An open reservoir 100 mm above the first pump's inlet is assumed.",
                pointer="/reservoir",
            )
        )
    return notes


def transitional_notes(elements: Sequence[ElementState]) -> list[Note]:
    """Note the tubes that flow between laminar and turbulent."""
    return [
        Note(code="transitional_flow", text=f"{element.element} {wording.TRANSITIONAL_NOTE}.")
        for element in elements
        if element.regime == "transitional"
    ]


def pump_notes(pumps: Sequence[Pump], states: Sequence[PumpState]) -> list[Note]:
    """Note speeds outside the affinity laws, flows beyond a curve and shut check valves."""
    notes = []
    for row, (pump, state) in enumerate(zip(pumps, states, strict=True)):
        ratio = pump.speed_rpm / pump.curve_speed_rpm
        pointer = f"/pumps/{row}"
        if not AFFINITY_RANGE[0] <= ratio <= AFFINITY_RANGE[1]:
            text = f"{pump.name} runs at {ratio:.2f} times the speed of its curve; the affinity "
            text += "laws are good for 0.5 to 1.1."
            notes.append(Note(code="affinity_range", text=text, pointer=pointer + "/speed_rpm"))
        if state.flow_l_per_min > pump.curve[-1].flow_l_per_min * ratio:
            text = f"{pump.name} works beyond the last point of its curve."
            notes.append(Note(code="beyond_curve", text=text, pointer=pointer + "/curve"))
        if state.flow_l_per_min < 1e-6:  # noqa: PLR2004 - nothing flows
            text = f"{pump.name} delivers nothing: the others hold its check valve shut."
            notes.append(Note(code="pump_shut", text=text, pointer=pointer))
    return notes


def _unsolved(question: PumpHeadQuestion) -> PumpHeadAnswer:
    """Answer that no operating point was found, without numbers."""
    return PumpHeadAnswer(
        edition=EDITION,
        outcome=Outcome(
            status="not_converged",
            reason="the flows of this loop did not settle",
            advice=("Check for elements of extreme size, such as a very narrow bore.",),
        ),
        margins=(),
        basis=basis(question.branches, question.coolant.__class__.__name__),
        notes=(),
        cautions=wording.LIQUID_CAUTIONS,
        question=question,
        state=None,
    )
