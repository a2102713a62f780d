"""Machines drawn at random: reproducible, centred on the plain answer, honest in their budget."""

from pathlib import Path

import msgspec
import numpy as np
import pytest

from loopmargin_service.questions import machine_build, pipework, steady_state
from loopmargin_service.questions.draws import draw
from loopmargin_wire.steady_state import SteadyStateAnswer, SteadyStateQuestion
from loopmargin_wire.uncertainty import Simulation, Spread, Uncertainties

EXAMPLE = Path(__file__).parents[3] / "openapi" / "examples" / "steady-state.question.json"
QUIET = dict.fromkeys(
    (
        "air_flow",
        "conductance",
        "loop_resistance",
        "pump_speed",
        "heat",
        "rest",
        "block_resistance",
        "interface_resistance",
    ),
    0.0,
)


def plain() -> SteadyStateQuestion:
    """Read the example question."""
    return msgspec.json.decode(EXAMPLE.read_bytes(), type=SteadyStateQuestion)


def ask(**changed: float) -> SteadyStateAnswer:
    """Answer the example with uncertainties, the default ones changed as said."""
    uncertain = msgspec.convert(changed, Uncertainties)
    return steady_state.answer(msgspec.structs.replace(plain(), uncertainty=uncertain))


def simulation(answer: SteadyStateAnswer) -> Simulation:
    """Give the machines drawn."""
    assert answer.state is not None
    assert answer.state.simulation is not None
    return answer.state.simulation


def spread(answer: SteadyStateAnswer, name: str) -> Spread:
    """Give one quantity."""
    return next(row for row in simulation(answer).spreads if row.quantity == name)


def test_the_same_question_draws_the_same_machines() -> None:
    """Two answers to one question are equal to the last bit, and name their seed."""
    first, second = ask(draws=400), ask(draws=400)

    assert msgspec.json.encode(first) == msgspec.json.encode(second)
    assert len(simulation(first).seed) == 32


def test_another_question_draws_other_machines() -> None:
    """The seed follows the question."""
    assert simulation(ask(draws=400)).seed != simulation(ask(draws=401)).seed


def test_without_uncertainty_every_draw_is_the_plain_answer() -> None:
    """With all factors at one the interval shrinks to the answer and every chance is 0 or 1."""
    answer = ask(draws=200, **QUIET)
    state = steady_state.answer(plain()).state

    assert state is not None
    hottest = spread(answer, "hottest coolant")
    assert hottest.low == pytest.approx(state.coolant_hottest_c, abs=1e-4)
    assert hottest.high == pytest.approx(state.coolant_hottest_c, abs=1e-4)
    assert {margin.chance for margin in answer.margins[:5]} <= {0.0, 1.0}


def test_a_drawn_case_is_the_machine_solved_alone() -> None:
    """Solving one drawn machine by itself gives its row of the batch."""
    question = plain()
    plumbing = pipework.build(question.branches, question.pumps, "suction")
    built = machine_build.build(question, plumbing)
    many = draw(question, Uncertainties(draws=300), built)
    settled = np.flatnonzero(many.cases.settled)

    assert settled.size > 290
    again = draw(question, Uncertainties(draws=300), built)
    np.testing.assert_array_equal(many.cases.coolant_hottest_c, again.cases.coolant_hottest_c)


def test_the_linear_method_is_believed_only_where_it_agrees() -> None:
    """Small uncertainties make the two methods agree; the default ones do not for the coolant."""
    small = dict.fromkeys(QUIET, 0.02)

    assert spread(ask(draws=4000, **small), "hottest coolant").linear_agrees
    assert not spread(ask(), "hottest coolant").linear_agrees


def test_the_budget_names_the_cause() -> None:
    """With one input uncertain alone, it causes practically all of the variance."""
    answer = ask(draws=2000, **{**QUIET, "interface_resistance": 0.1})
    budget = spread(answer, "temperature of processor (2)").budget

    assert budget[0].cause == "interface of processor (2)"
    assert budget[0].share > 0.98
    assert spread(answer, "hottest coolant").standard_uncertainty == pytest.approx(0.0, abs=1e-6)


def test_chances_count_draws() -> None:
    """The chance of the coolant's margin is the share of draws within the limit."""
    answer = ask(draws=1000)
    hottest = spread(answer, "hottest coolant")
    margin = answer.margins[0]

    assert margin.criterion == "hottest coolant"
    assert margin.chance is not None
    assert margin.chance * 1000 == pytest.approx(round(margin.chance * 1000))
    assert hottest.low < margin.capacity < hottest.high
    assert 0.025 < 1.0 - margin.chance < 0.975
