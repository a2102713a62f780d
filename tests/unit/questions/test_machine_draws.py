"""Machines drawn at random: centred on the plain answer, honest in their budget."""

from pathlib import Path

import msgspec
import numpy as np
import pytest

from loopmargin_service.physics import machine as physics
from loopmargin_service.questions import (
    draws,
    machine_build,
    machine_draws,
    pipework,
    steady_state,
)
from loopmargin_service.questions.machine_draws import Best, Drawn
from loopmargin_wire.steady_state import SteadyStateAnswer, SteadyStateQuestion
from loopmargin_wire.uncertainty import Simulation, Spread, Uncertainties
from tests.unit.questions.asked import example

EXAMPLE = Path(__file__).parents[3] / "openapi" / "examples" / "steady-state.question.json"
QUIET = {
    field.name: 0.0
    for field in msgspec.structs.fields(Uncertainties)
    if field.name not in ("draws", "seed")
}
SEED = "5" * 32


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


def best() -> Best:
    """Solve the example at its best estimate."""
    question = plain()
    plumbing = pipework.build(question.branches, question.pumps, "suction")
    built = machine_build.build(question, plumbing)
    setting = machine_build.setting(question, built, *np.ones((2, 1)))
    return Best(question, built, physics.solve(built.machine, setting))


def drawn(count: int) -> Drawn:
    """Draw machines about the example."""
    return machine_draws.draw(best(), Uncertainties(draws=count), SEED)


def test_the_same_question_draws_the_same_machines() -> None:
    """Two answers to one question are equal to the last bit."""
    first, second = ask(draws=400), ask(draws=400)
    assert msgspec.json.encode(first) == msgspec.json.encode(second)


def test_without_uncertainty_every_draw_is_the_plain_answer() -> None:
    """With all factors at one the interval shrinks to the answer and every chance is 0 or 1."""
    answer = ask(draws=200, **QUIET)
    state = answer.state

    assert state is not None
    hottest = spread(answer, "hottest coolant")
    assert hottest.low == pytest.approx(state.coolant_hottest_c, abs=1e-4)
    assert hottest.high == pytest.approx(state.coolant_hottest_c, abs=1e-4)
    assert {margin.chance for margin in answer.margins[:8]} <= {0.0, 1.0}


def test_more_machines_only_refine_and_chunks_do_not_show(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """The first 300 of 600 machines are those of 300, to the last bit, in chunks of any size."""
    few = drawn(300)
    monkeypatch.setattr(machine_draws, "CHUNK", 77)
    many = drawn(600)

    assert few.cases.settled.sum() > 290
    for once, again in zip((*few.cases, *few.loop), (*many.cases, *many.loop), strict=True):
        np.testing.assert_array_equal(once, again[..., :300])


def test_the_linear_method_is_believed_only_where_it_agrees() -> None:
    """Small uncertainties make the two methods agree; the default ones do not for the coolant."""
    small = dict.fromkeys(QUIET, 0.01)

    assert spread(ask(draws=4000, **small), "hottest coolant").linear_agrees
    assert not spread(ask(), "hottest coolant").linear_agrees


def test_the_budget_names_the_cause() -> None:
    """With one input uncertain alone, it causes practically all of the variance."""
    answer = ask(draws=2000, **{**QUIET, "interface_resistance": 0.1})
    budget = spread(answer, "temperature of processor (2)").budget

    assert budget[0].cause == "interface of processor (2)"
    assert budget[0].share > 0.98
    assert spread(answer, "hottest coolant").standard_uncertainty == pytest.approx(0.0, abs=1e-6)


def test_laws_stand_apart_from_inputs() -> None:
    """The form of every law is a cause of its own, with the ground it stands on."""
    inputs = {row.cause: row for row in simulation(ask()).inputs}

    assert inputs["law of louvred cores"].kind == "law"
    assert "Chang" in inputs["law of louvred cores"].source
    assert inputs["law of fittings"].kind == "law"
    assert inputs["power of card (1)"].kind == "input"
    assert all(row.source for row in inputs.values())


def test_an_uncertainty_that_is_given_says_so() -> None:
    """What the question states is not passed off as a default."""
    inputs = {row.cause: row.source for row in simulation(ask(air_flow=0.05)).inputs}
    assert inputs["air flow of fans"] == "stated in the question"


def test_margins_and_spreads_agree() -> None:
    """Chance and uncertainty of a margin are of the draws that the spread shows."""
    answer = ask(draws=1000)
    hottest, margin = spread(answer, "hottest coolant"), answer.margins[0]

    assert margin.criterion == "hottest coolant"
    assert margin.chance is not None
    assert margin.chance * 1000 == pytest.approx(round(margin.chance * 1000))
    assert hottest.low < margin.capacity < hottest.high
    assert 0.025 < 1.0 - margin.chance < 0.975
    assert margin.standard_uncertainty == hottest.standard_uncertainty


def test_nothing_drawn_claims_nothing() -> None:
    """Without uncertainty no margin of the machine or of its parts has a chance."""
    answer = steady_state.answer(msgspec.structs.replace(plain(), uncertainty=None))

    assert answer.state is not None
    assert answer.state.simulation is None
    assert {(row.chance, row.standard_uncertainty) for row in answer.margins} == {(None, None)}
    assert "not_drawn" in {note.code for note in answer.notes}


def changed(path: str, value: object) -> SteadyStateQuestion:
    """Give the example with one field changed, and the seed of the tests."""
    changes = {path: value, "uncertainty": {"draws": 400, "seed": SEED}}
    return msgspec.convert(example("steady-state", changes), SteadyStateQuestion)


def test_a_shared_seed_cancels_what_is_wrong_in_both() -> None:
    """Half a kelvin of room is half a kelvin of coolant, though each is known to 5 K only."""
    cool, warm = (
        spread(steady_state.answer(changed("room/air_c", room)), "hottest coolant")
        for room in (27.0, 27.5)
    )

    assert warm.best_estimate - cool.best_estimate == pytest.approx(0.5, abs=0.2)
    assert cool.standard_uncertainty > 4.0


def test_a_rated_radiator_has_its_own_law() -> None:
    """Its law stands in the place of that of cores, and it has no installation factor."""
    rated = {
        "kind": "rated",
        "face_width_mm": 420,
        "face_height_mm": 140,
        "conductance_w_per_k": 20,
        "basis": "coolant_inlet",
        "air_flow_m3_per_h": 200,
        "flow_l_per_min": 3,
        "air_pressure_drop": [{"air_flow_m3_per_h": 200, "pressure_drop_pa": 12}],
    }
    answer = steady_state.answer(changed("branches/0/elements/6/radiator", rated))
    inputs = {row.cause: row.standard_uncertainty for row in simulation(answer).inputs}

    # The air flow is below half of that of the rating, where the law is less known.
    assert inputs["law of rated radiators"] > 0.07
    assert "law of louvred cores" not in inputs
    assert "installation" not in inputs


def test_friction_that_is_certain_is_certain_in_every_draw() -> None:
    """Machines that take several rounds to settle, each of which leaves some of them aside."""
    certain = {"friction_law": 0.0, "transitional_friction_law": 0.0}
    answer = ask(**certain, air_flow=0.5, heat=0.4, pump_speed=0.3, draws=3000)

    causes = {row.cause for row in simulation(answer).inputs}
    assert causes.isdisjoint({"law of friction", "law of friction, transitional"})
    assert "power of the rest" in causes
    assert spread(answer, "coolant flow").standard_uncertainty > 0.0


def test_random_numbers_are_shared_and_cannot_be_spoilt() -> None:
    """What two questions draw from is kept once."""
    (row, *_), (again, *_) = (drawn(300).draws.normal for _ in range(2))

    assert row.tolist() == again.tolist()
    with pytest.raises(ValueError, match="read-only"):
        draws._normals(SEED, "bore", 300)[0] = 0.0  # noqa: SLF001 - what is kept
