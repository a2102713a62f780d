"""`radiator-area`, `pump-head` and `steady-state` over random questions.

The questions fit the wire and do not contradict themselves, but are otherwise anything:
most of these machines could never be built, and every one of them is owed a sound answer.
"""

from collections.abc import Callable
from typing import Any

import msgspec
import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from loopmargin_service.questions import pump_head, radiator_area, steady_state
from loopmargin_service.questions.refusals import Refusal
from loopmargin_wire.part import Pump
from loopmargin_wire.pump_head import LoopState, PumpHeadAnswer, PumpHeadQuestion, PumpState
from loopmargin_wire.radiator_area import RadiatorAreaAnswer, RadiatorAreaQuestion
from loopmargin_wire.steady_state import MachineState, SteadyStateAnswer, SteadyStateQuestion
from tests.unit.questions.drawn import (
    PUMP_HEAD_QUESTIONS,
    RADIATOR_AREA_QUESTIONS,
    STEADY_STATE_QUESTIONS,
)
from tests.unit.questions.sound import broken_promises

LARGE_INPUT = (HealthCheck.too_slow, HealthCheck.data_too_large, HealthCheck.filter_too_much)
# Every phase but the explanation, which would repeat a failing machine hundreds of times.
PHASES = (Phase.explicit, Phase.reuse, Phase.generate, Phase.shrink)
MANY = settings(max_examples=150, deadline=None, suppress_health_check=LARGE_INPUT, phases=PHASES)
SOME = settings(MANY, max_examples=60)


@MANY
@given(question=RADIATOR_AREA_QUESTIONS)
def test_any_radiator(question: RadiatorAreaQuestion) -> None:
    """Nothing but a refusal is raised, and an answer keeps all its promises."""
    try:
        answer = radiator_area.answer(question)
    except Refusal as refusal:
        assert_leads_somewhere(refusal, question)
    else:
        assert broken_promises(question, answer, question.confidence) == []


@MANY
@given(question=PUMP_HEAD_QUESTIONS)
def test_any_loop(question: PumpHeadQuestion) -> None:
    """Nothing but a refusal is raised, promises are kept, and flow and pressure balance."""
    try:
        answer = pump_head.answer(question)
    except Refusal as refusal:
        assert_leads_somewhere(refusal, question)
    else:
        assert broken_promises(question, answer, question.confidence) == []
        if answer.state is not None:
            assert_balanced(question, answer.state)


@SOME
@given(question=STEADY_STATE_QUESTIONS)
def test_any_machine(question: SteadyStateQuestion) -> None:
    """Nothing but a refusal is raised, promises are kept, and the heat balances."""
    try:
        answer = steady_state.answer(question)
    except Refusal as refusal:
        assert_leads_somewhere(refusal, question)
    else:
        assert broken_promises(question, answer, question.confidence) == []
        if answer.state is not None:
            assert_heat_balanced(answer.state)


def assert_leads_somewhere(refusal: Refusal, question: msgspec.Struct) -> None:
    """Follow the path of every fault to something that the question has."""
    for fault in refusal.faults:
        place: Any = msgspec.to_builtins(question)
        for step in fault.path:
            place = place[step]
        assert len(fault.detail) > 20


def assert_balanced(question: PumpHeadQuestion, state: LoopState) -> None:
    """Compare what enters and leaves each junction, and branches with their elements."""
    links = [
        *((b.from_node, b.to_node, s.flow_l_per_min) for b, s in _both(question, state)),
        *(
            (pump.from_node, pump.to_node, row.flow_l_per_min)
            for pump, row in zip(question.pumps, state.pumps, strict=True)
        ),
    ]
    largest = max(abs(flow) for _, _, flow in links)
    leak = sum(map(_leak, question.pumps, state.pumps))
    for node in {link[0] for link in links}:
        left = sum(flow * ((head == node) - (tail == node)) for tail, head, flow in links)
        assert abs(left) <= 1e-6 * largest + leak + 1e-9
    drops = [element.pressure_drop_kpa for element in state.elements]
    size = max(map(abs, [*drops, *(row.pressure_drop_kpa for row in state.branches)]))
    # In a loop that resists nothing the drops are lost in the digits of what the pumps could do.
    digits = 1e-8 * max(
        9.81 * pump.curve[0].head_m * (pump.speed_rpm / pump.curve_speed_rpm) ** 2
        for pump in question.pumps
    )
    for branch, row in _both(question, state):
        own, drops = drops[: len(branch.elements)], drops[len(branch.elements) :]
        assert abs(sum(own) - row.pressure_drop_kpa) <= 1e-6 * size + digits


def assert_heat_balanced(state: MachineState) -> None:
    """Compare the heat left over with what would warm the pumped coolant by a millikelvin.

    The machines here stop at a movement of 1e-5 K, and a pump that is shut or a branch that
    stands still exchanges a thousandth of a watt for each kelvin; tests of `steady-state`
    hold ordinary machines to a millionth of their heat.
    """
    pumped = sum(pump.flow_l_per_min for pump in state.pumps)
    w_per_k = 4.0e6 / 60_000.0 * max(pumped, 0.1)
    assert abs(state.heat.residual_w) <= 1e-3 * w_per_k


def _leak(pump: Pump, state: PumpState) -> float:
    """Give what a shut check valve lets through: a millionth of head over the curve's slope."""
    first, last = pump.curve[0], pump.curve[-1]
    slope = (first.head_m - last.head_m) / (last.flow_l_per_min - first.flow_l_per_min)
    return 0.0 if state.flow_l_per_min > 0.0 else 1.01e-6 * abs(state.head_m) / slope


def _both(question: PumpHeadQuestion, state: LoopState) -> list[tuple[Any, Any]]:
    return list(zip(question.branches, state.branches, strict=True))


Answering = Callable[[Any], RadiatorAreaAnswer | PumpHeadAnswer | SteadyStateAnswer]


@pytest.mark.parametrize(
    ("questions", "answering", "share"),
    [
        (RADIATOR_AREA_QUESTIONS, radiator_area.answer, 0.7),
        (PUMP_HEAD_QUESTIONS, pump_head.answer, 0.9),
        (STEADY_STATE_QUESTIONS, steady_state.answer, 0.7),
    ],
)
def test_most_questions_are_answered(
    questions: st.SearchStrategy[Any], answering: Answering, share: float
) -> None:
    """The random questions above are not mostly refused, which would test little."""
    answered: list[bool] = []

    @settings(SOME, max_examples=40, derandomize=True, database=None, phases=(Phase.generate,))
    @given(question=questions)
    def count(question: object) -> None:
        try:
            answering(question)
        except Refusal:
            answered.append(False)
        else:
            answered.append(True)

    count()

    assert sum(answered) >= share * len(answered) > 0
