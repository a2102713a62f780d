"""Margins of a settled machine, with the chances that the machines drawn about it give."""

from collections.abc import Iterator

import numpy as np

from loopmargin_service.questions.conversion import celsius
from loopmargin_service.questions.loop_curve import head_at_flow
from loopmargin_service.questions.loop_margins import Described, loop_margins, required_flows
from loopmargin_service.questions.margins import margin
from loopmargin_service.questions.naming import told_apart
from loopmargin_service.questions.settled import BASE, Settled
from loopmargin_wire.answer import Margin
from loopmargin_wire.steady_state import MachineState

# A rise that no thermometer tells from zero has no conductance to speak of. [K]
LEAST_RISE = 0.01


def machine_margins(settled: Settled, described: MachineState) -> tuple[Margin, ...]:
    """Judge coolant, parts, radiators, flow, head, air carrying and suction."""
    return (
        *_coolant_margins(settled),
        *_component_margins(settled, described),
        *_loop_margins(settled, described),
    )


def _coolant_margins(settled: Settled) -> Iterator[Margin]:
    """Judge the hottest coolant, and the radiators' conductance to the room that this takes."""
    question, drawn = settled.question, settled.drawn
    hottest_c = celsius(settled.state.stacked[:, BASE].max())
    limit_c, room_c = question.coolant_limit_c, question.room.air_c
    left = None if drawn is None else drawn.surplus(limit_c - drawn.cases.coolant_hottest_c)
    yield margin("hottest coolant", hottest_c, limit_c, "degC", question.confidence, left)
    allowed, rise = limit_c - room_c, hottest_c - room_c
    if min(allowed, rise) <= LEAST_RISE:
        return
    heat = sum(item.wire.power_w * item.wire.captured_fraction for item in settled.built.blocks)
    heat += float(settled.state.pump_heat[:, BASE].sum())
    if drawn is not None:
        rises = np.maximum(drawn.cases.coolant_hottest_c - room_c, LEAST_RISE)
        left = drawn.surplus(drawn.cases.heat_w * (1.0 / rises - 1.0 / allowed))
    name = "conductance from coolant to room"
    yield margin(name, heat / allowed, heat / rise, "W/K", question.confidence, left)


def _component_margins(settled: Settled, described: MachineState) -> Iterator[Margin]:
    """Judge every cooled part."""
    drawn = settled.drawn
    names = told_apart([state.component for state in described.components])
    for number, (name, state) in enumerate(zip(names, described.components, strict=True)):
        left = None
        if drawn is not None:
            left = drawn.surplus(state.limit_c - drawn.cases.component_c[number])
        yield margin(
            f"temperature of {name}",
            state.component_c,
            state.limit_c,
            "degC",
            settled.question.confidence,
            left,
        )


def _loop_margins(settled: Settled, described: MachineState) -> list[Margin]:
    """Judge the loop as `pump-head` does, at the settled temperatures."""
    question, point, loop = settled.question, settled.point(), settled.plumbing.loop
    density = float(point.liquid.pumps.density[0, 0])
    wanted = question.required_flow_l_per_min
    required = required_flows(wanted, (), density)
    head = None
    if len(loop.curves) == 1:
        head = head_at_flow(loop, point.liquid, required.total)
    said = Described(settled.plumbing, question.branches, point, described, question.confidence)
    drawn = settled.drawn and settled.drawn.loop
    return loop_margins(said, (wanted, required, head), drawn)
