"""`radiator-area`, `pump-head` and `steady-state` over random questions.

The questions fit the wire and do not contradict themselves, but are otherwise anything:
most of these machines could never be built, and every one of them is owed a sound answer.
"""

from collections.abc import Callable
from typing import Any

import msgspec
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from loopmargin_service.questions import pump_head, radiator_area, steady_state
from loopmargin_service.questions.refusals import Refusal
from loopmargin_wire.pump_head import LoopState, PumpHeadAnswer, PumpHeadQuestion
from loopmargin_wire.radiator_area import RadiatorAreaAnswer, RadiatorAreaQuestion
from loopmargin_wire.steady_state import SteadyStateAnswer, SteadyStateQuestion
from tests.unit.questions.drawn import (
    PUMP_HEAD_QUESTIONS,
    RADIATOR_AREA_QUESTIONS,
    STEADY_STATE_QUESTIONS,
)
from tests.unit.questions.sound import broken_promises

LARGE_INPUT = (HealthCheck.too_slow, HealthCheck.data_too_large, HealthCheck.filter_too_much)
MANY = settings(max_examples=200, deadline=None, suppress_health_check=LARGE_INPUT)
SOME = settings(max_examples=60, deadline=None, suppress_health_check=LARGE_INPUT)


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
            heat = answer.state.heat
            given = heat.parts_to_coolant_w + heat.pumps_to_coolant_w
            assert abs(heat.residual_w) <= 1e-6 * max(given, 1.0)


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
    for node in {link[0] for link in links}:
        left = sum(flow * ((head == node) - (tail == node)) for tail, head, flow in links)
        assert abs(left) <= 1e-6 * largest + 1e-9
    drops = [element.pressure_drop_kpa for element in state.elements]
    size = max(map(abs, [*drops, *(row.pressure_drop_kpa for row in state.branches)]))
    for branch, row in _both(question, state):
        own, drops = drops[: len(branch.elements)], drops[len(branch.elements) :]
        assert abs(sum(own) - row.pressure_drop_kpa) <= 1e-6 * size + 1e-9


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

    @settings(SOME, derandomize=True, database=None)
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
