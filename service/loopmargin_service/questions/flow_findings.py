"""What is wrong with the flow of a machine, so that heat is not blamed for it."""

from collections.abc import Iterator, Sequence
from typing import NamedTuple

import numpy as np

from loopmargin_service.questions.conversion import L_PER_MIN, out
from loopmargin_service.questions.machine_cases import HOTTEST_COOLANT_C
from loopmargin_service.questions.margins import LONGEST_REASON
from loopmargin_service.questions.operating_point import element_states
from loopmargin_service.questions.pump_speed import total_flow
from loopmargin_service.questions.settled import BASE, Settled
from loopmargin_wire.answer import Outcome
from loopmargin_wire.part import Pump, Tube
from loopmargin_wire.steady_state import MachineBranch

# What nobody would call a flow. [L/min]
LEAST_FLOW = 1e-3
# A flow below this share of the one required is missed by far. [-]
FAR = 0.5
# A branch over which this share of the highest pressure difference stands is not driven. [-]
UNDRIVEN = 0.01


class Finding(NamedTuple):
    """What was found of a flow, and what to check."""

    reason: str
    advice: str


class _Flows(NamedTuple):
    """Flows of a settled machine [L/min], and by how much one pass of a branch warms it. [K]"""

    settled: Settled
    total: float
    pumps: tuple[float, ...]
    branches: tuple[float, ...]
    passes: tuple[float, ...]

    @property
    def short(self) -> bool:
        """Whether the flow of the whole loop is missed by far."""
        return self.total < FAR * self.settled.question.required_flow_l_per_min


def flow_findings(settled: Settled) -> tuple[Finding, ...]:
    """Find pumps that deliver nothing, heated branches that starve, and flows missed by far.

    A branch starves if its own heat would warm the coolant to the highest temperature allowed
    here in one pass, even if it entered as cold as the room: no radiator can help that.
    """
    if not settled.state.flows.converged[BASE]:
        return ()
    flows = _flows(settled)
    against = tuple(_against(flows))
    return against or (*_short(flows), *_backward(flows))


def with_findings(outcome: Outcome, findings: tuple[Finding, ...]) -> Outcome:
    """Say what was found of the flow before everything else."""
    if not findings:
        return outcome
    reason = "; ".join((*(found.reason for found in findings), outcome.reason))
    advice = (*dict.fromkeys(found.advice for found in findings), *outcome.advice)
    return Outcome(status=outcome.status, reason=reason[:LONGEST_REASON], advice=advice[:20])


def _flows(settled: Settled) -> _Flows:
    """Gather the flows."""
    point, loop = settled.point(), settled.plumbing.loop
    liquid = point.liquid.pumps
    density, capacity = float(liquid.density[0, 0]), float(liquid.heat_capacity[0, 0])
    mass = point.flow[:, 0]
    branches = len(loop.branch_tail)
    volume = [out(one / density, L_PER_MIN) for one in mass.tolist()]
    heat = [0.0] * branches
    for item in settled.built.blocks:
        heat[item.branch] += item.wire.power_w * item.wire.captured_fraction
    least = LEAST_FLOW * L_PER_MIN * density
    passes = [
        one / (max(abs(flow), least) * capacity)
        for one, flow in zip(heat, mass[:branches].tolist(), strict=True)
    ]
    total = out(float(total_flow(loop, point.flow)[0]) / density, L_PER_MIN)
    return _Flows(settled, total, tuple(volume[branches:]), tuple(volume[:branches]), tuple(passes))


def _against(flows: _Flows) -> Iterator[Finding]:
    """Find pumps that hold each other shut, so that nothing flows at all."""
    pumps = flows.settled.question.pumps
    if len(pumps) == 1 or max(flows.total, *flows.pumps) > LEAST_FLOW:
        return
    yield Finding(
        f"no coolant flows: {' and '.join(one.name for one in pumps)} deliver nothing",
        f"Check the direction of the pumps, by from_node and to_node: {_directions(pumps)}. One "
        "that points against the others is held shut and stops them all.",
    )


def _short(flows: _Flows) -> Iterator[Finding]:
    """Find flows missed by far: that of the whole loop, or where that is right, of branches."""
    question = flows.settled.question
    if flows.short:
        wanted = question.required_flow_l_per_min
        reason = f"{flows.total:.2g} of the {wanted:g} L/min required flow through the loop"
        yield Finding(reason, _narrow(flows, None))
        return
    for row, branch in enumerate(question.branches):
        reason = _starving(flows, row) or _missed(branch, flows.branches[row])
        if reason:
            yield Finding(reason, _remedy(flows, row))


def _starving(flows: _Flows, row: int) -> str:
    """Say that the flow of a branch cannot carry its heat, whatever the radiators do."""
    question, flow, rise = flows.settled.question, flows.branches[row], flows.passes[row]
    if rise < HOTTEST_COOLANT_C - question.room.air_c:
        return ""
    name = question.branches[row].name
    if abs(flow) < LEAST_FLOW:
        return f"no coolant flows through {name}, which is heated"
    return (
        f"only {abs(flow):.2g} L/min flow through {name}, which warms by {rise:.0f} K in one "
        "pass, whatever the radiators do"
    )


def _missed(branch: MachineBranch, flow: float) -> str:
    """Say that the flow required of a branch is missed by far."""
    needed = branch.required_flow_l_per_min
    if needed is None or not -LEAST_FLOW <= flow < FAR * needed:
        return ""
    return f"{max(flow, 0.0):.2g} of the {needed:g} L/min required flow through {branch.name}"


def _backward(flows: _Flows) -> Iterator[Finding]:
    """Find branches that have to be flowed through and are, the other way round."""
    question = flows.settled.question
    ways = [
        f"{branch.name} ({-flow:.2g} L/min from {branch.to_node} to {branch.from_node})"
        for branch, flow in zip(question.branches, flows.branches, strict=True)
        if branch.required_flow_l_per_min is not None and flow < -LEAST_FLOW
    ]
    if ways:
        yield Finding(
            f"coolant runs backward through {', '.join(ways)}",
            "Swap from_node and to_node where they are not as the machine is laid, of these "
            f"branches or of the pumps: {_directions(question.pumps)}.",
        )


def _directions(pumps: Sequence[Pump]) -> str:
    """Say which way every pump points."""
    return ", ".join(f"{one.name} from {one.from_node} to {one.to_node}" for one in pumps)


def _remedy(flows: _Flows, row: int) -> str:
    """Say what to check where too little flows in one branch."""
    point, loop = flows.settled.point(), flows.settled.plumbing.loop
    over = float(
        point.pressure[loop.branch_tail[row], 0] - point.pressure[loop.branch_head[row], 0]
    )
    if abs(over) > UNDRIVEN * float(np.ptp(point.pressure[:, 0])):
        return _narrow(flows, row)
    branch = flows.settled.question.branches[row]
    return (
        f"Check the junctions of {branch.name}, {branch.from_node} and {branch.to_node}: hardly "
        "any pressure drives coolant from one to the other, because it is a dead end or because "
        "a much wider branch beside it takes the flow."
    )


def _narrow(flows: _Flows, row: int | None) -> str:
    """Say which element takes most of the pressure of a branch, or of the loop."""
    settled = flows.settled
    branches = settled.question.branches
    states = element_states(settled.plumbing, branches, settled.point())
    elements = [(at, one) for at, branch in enumerate(branches) for one in branch.elements]
    taken = [
        (abs(state.pressure_drop_kpa), branches[at], one)
        for (at, one), state in zip(elements, states, strict=True)
        if row in (None, at)
    ]
    drop, branch, element = max(taken, key=lambda entry: entry[0])
    whole = sum(entry[0] for entry in taken)
    what = "pressure drop"
    if isinstance(element, Tube):
        what = f"bore and length ({element.bore_mm:g} mm, {element.length_mm:g} mm)"
    return (
        f"Check the {what} of {element.name} in {branch.name}, which takes {drop:.2g} of "
        f"{whole:.2g} kPa {'in the loop' if row is None else 'there'}; if it is right, take a "
        "wider one, or a stronger or faster pump."
    )
