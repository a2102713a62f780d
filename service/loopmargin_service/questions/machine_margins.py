"""Margins of a settled machine, with uncertainties from how it follows fans and pumps."""

import math

import numpy as np

from loopmargin_service.physics.network import Array
from loopmargin_service.questions import uncertainty
from loopmargin_service.questions.conversion import celsius, kelvin
from loopmargin_service.questions.loop_curve import head_at_flow
from loopmargin_service.questions.loop_margins import (
    air_margin,
    branch_margins,
    flow_margin,
    head_margin,
    required_flows,
    suction_margins,
)
from loopmargin_service.questions.margins import margin
from loopmargin_service.questions.pump_speed import total_flow
from loopmargin_service.questions.settled import BASE, FANS, PUMPS, Settled
from loopmargin_wire.answer import Margin
from loopmargin_wire.radiator import CoreRadiator
from loopmargin_wire.steady_state import MachineState

# Below this change of the logarithm of a flow a slope would be noise.
LEAST_CHANGE = 1e-3
# A rise that no thermometer tells from zero has no conductance to speak of. [K]
LEAST_RISE = 0.01


def machine_margins(settled: Settled, described: MachineState) -> tuple[Margin, ...]:
    """Judge coolant, parts, radiators, flow, head, air carrying and suction."""
    question = settled.question
    return (
        *_coolant_margins(settled),
        *_component_margins(settled, described),
        flow_margin(
            "loop flow",
            question.required_flow_l_per_min,
            described.flow_l_per_min,
            question.confidence,
            drawn=_drawn_flow(settled),
        ),
        *branch_margins(
            question.branches,
            [branch.flow_l_per_min for branch in described.branches],
            question.confidence,
        ),
        *_head_margins(settled),
        *air_margin(described.elements, question.confidence),
        *suction_margins(described.pumps, question.confidence),
    )


def coolant_uncertainty(settled: Settled, temperature: Array) -> float:
    """Give the standard uncertainty of a coolant temperature, given in the three cases. [K]

    Air and coolant flow act through the slopes found by solving with slower fans and with
    slower pumps; conductance and heat act on the rise over the room in proportion.
    """
    air = np.abs(settled.state.air_flows.flow[: len(settled.built.radiators)]).sum(axis=0)
    flow = total_flow(settled.plumbing.loop, settled.state.flows.flow)
    rated = any(
        not isinstance(item.wire.radiator, CoreRadiator) for item in settled.built.radiators
    )
    law = uncertainty.RATED_CONDUCTANCE if rated else uncertainty.CORE_CONDUCTANCE
    rise = float(temperature[BASE]) - kelvin(settled.question.room.air_c)
    return uncertainty.combined(
        _slope(temperature, air, FANS) * uncertainty.INSTALLED_AIR_FLOW,
        _slope(temperature, flow, PUMPS) * uncertainty.LOOP_FLOW,
        rise * law,
        rise * uncertainty.HEAT,
    )


def _drawn_coolant(settled: Settled) -> float | None:
    """Count the draws whose coolant stays within its limit."""
    if settled.drawn is None:
        return None
    cases = settled.drawn.cases
    within = cases.coolant_hottest_c <= settled.question.coolant_limit_c
    return float((cases.settled & within).mean())


def _drawn_component(settled: Settled, number: int, limit_c: float) -> float | None:
    """Count the draws in which one part stays within its limit."""
    if settled.drawn is None:
        return None
    cases = settled.drawn.cases
    return float((cases.settled & (cases.component_c[number] <= limit_c)).mean())


def _drawn_flow(settled: Settled) -> float | None:
    """Count the draws that reach the required flow."""
    if settled.drawn is None:
        return None
    cases = settled.drawn.cases
    enough = cases.flow_l_per_min >= settled.question.required_flow_l_per_min
    return float((cases.settled & enough).mean())


def _slope(temperature: Array, driver: Array, moved: int) -> float:
    """Give the change of a temperature with the logarithm of a flow. [K]"""
    change = math.log(max(float(driver[moved]), 1e-12) / max(float(driver[BASE]), 1e-12))
    if abs(change) < LEAST_CHANGE:
        return 0.0
    return float(temperature[moved] - temperature[BASE]) / change


def _coolant_margins(settled: Settled) -> list[Margin]:
    """Judge the hottest coolant, and the radiators' conductance to the room that this takes."""
    question = settled.question
    stacked = settled.state.stacked
    hottest = stacked[int(stacked[:, BASE].argmax())]
    spread = coolant_uncertainty(settled, hottest)
    rise = celsius(hottest[BASE]) - question.room.air_c
    margins = [
        margin(
            "hottest coolant",
            celsius(hottest[BASE]),
            question.coolant_limit_c,
            "degC",
            spread,
            question.confidence,
            drawn=_drawn_coolant(settled),
        )
    ]
    allowed = question.coolant_limit_c - question.room.air_c
    if allowed > LEAST_RISE and rise > LEAST_RISE:
        heat = sum(item.wire.power_w * item.wire.captured_fraction for item in settled.built.blocks)
        heat += float(settled.state.pump_heat[:, BASE].sum())
        needed, capacity = heat / allowed, heat / rise
        deviations = margins[0].surplus / spread
        margins.append(
            margin(
                "conductance from coolant to room",
                needed,
                capacity,
                "W/K",
                uncertainty.sharing_chance(capacity - needed, deviations, capacity * spread / rise),
                question.confidence,
                drawn=_drawn_coolant(settled),
            )
        )
    return margins


def _component_margins(settled: Settled, described: MachineState) -> list[Margin]:
    """Judge every cooled part."""
    margins = []
    rows = zip(settled.built.blocks, described.components, strict=True)
    for number, (item, state) in enumerate(rows):
        ends = settled.state.stacked[item.place], settled.state.stacked[item.place + 1]
        entering = min(ends, key=lambda end: abs(celsius(end[BASE]) - state.coolant_in_c))
        heat, interface = state.heat_to_coolant_w, item.wire.interface_k_per_w
        over_coolant = heat * state.resistance_k_per_w
        spread = uncertainty.combined(
            coolant_uncertainty(settled, entering),
            heat * (state.resistance_k_per_w - interface) * uncertainty.BLOCK_RESISTANCE,
            heat * interface * uncertainty.INTERFACE_RESISTANCE,
            over_coolant * uncertainty.HEAT,
        )
        margins.append(
            margin(
                f"temperature of {state.component}",
                state.component_c,
                state.limit_c,
                "degC",
                spread,
                settled.question.confidence,
                drawn=_drawn_component(settled, number, state.limit_c),
            )
        )
    return margins


def _head_margins(settled: Settled) -> list[Margin]:
    """Judge the head at the required flow, at the settled temperatures."""
    question, point = settled.question, settled.point()
    density = float(point.liquid.pumps.density[0, 0])
    required = required_flows(question.required_flow_l_per_min, (), density)
    loop = settled.plumbing.loop
    if len(loop.curves) > 1:
        return []
    head = head_at_flow(loop, point.liquid, required.total)
    return head_margin(loop, point, (required.total, head), question.confidence)
