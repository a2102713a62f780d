"""What is answered when a solver does not settle, brought about by cutting it off early."""

import pickle

import msgspec
import numpy as np
import pytest

from loopmargin_service.physics import fan_loss, machine, network
from loopmargin_service.physics.loop import Liquid, Loop, LoopTerms
from loopmargin_service.physics.network import Array, Flows
from loopmargin_service.questions import loop_curve, pump_speed, solve_for, solve_for_judge, warm_up
from loopmargin_service.questions.refusals import Fault, Refusal
from loopmargin_wire.solve_for import SolveForQuestion
from loopmargin_wire.warm_up import WarmUpQuestion
from tests.unit.questions.asked import ask_head, ask_machine, example, loop_state
from tests.unit.questions.sound import broken_promises

BRANCH_FLOW = {"branches/0/required_flow_l_per_min": 2.0}


def test_loop_that_does_not_settle(monkeypatch: pytest.MonkeyPatch) -> None:
    """An outcome with reason and advice, and no number that did not converge."""
    monkeypatch.setattr(network, "ITERATION_LIMIT", 1)

    actual = ask_head()

    assert (actual.outcome.status, actual.state) == ("not_converged", None)
    assert actual.margins == ()
    assert "narrow bore" in actual.outcome.advice[0]


def test_machine_that_does_not_settle(monkeypatch: pytest.MonkeyPatch) -> None:
    """What does not depend on the flow is still judged: the supply and the noise."""
    monkeypatch.setattr(machine, "ITERATION_LIMIT", 1)

    actual = ask_machine()

    assert (actual.outcome.status, actual.state) == ("not_converged", None)
    assert broken_promises(actual.question, actual, actual.question.confidence) == []
    assert "loop flow" not in {row.criterion for row in actual.margins}
    assert "tiny opening" in actual.outcome.advice[0]


def test_machine_whose_flow_does_not_settle(monkeypatch: pytest.MonkeyPatch) -> None:
    """Of a flow that was not found nothing is said."""
    monkeypatch.setattr(network, "ITERATION_LIMIT", 1)
    monkeypatch.setattr(machine, "ITERATION_LIMIT", 1)

    actual = ask_machine()

    assert (actual.outcome.status, actual.state) == ("not_converged", None)
    assert actual.outcome.reason == "flow, air and heat of this machine did not settle together"


def test_air_that_does_not_settle_without_fans(monkeypatch: pytest.MonkeyPatch) -> None:
    """A machine that runs, but whose air is not found once fans stand, has no times."""
    monkeypatch.setattr(fan_loss, "BALANCED", 0.0)
    monkeypatch.setattr(fan_loss, "STILL_FLOW", 0.0)

    actual = warm_up.answer(msgspec.convert(example("warm-up"), WarmUpQuestion))

    assert (actual.outcome.status, actual.state) == ("not_converged", None)
    assert actual.margins == ()
    assert "some of its fans stand" in actual.outcome.reason


def test_speed_and_curve_of_a_loop_that_settles_only_at_its_operating_point(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Neither a head nor a speed is told for flows at which the loop was not solved."""
    at_flows = loop_curve.at_flows

    def unsettled(loop: Loop, terms: LoopTerms, wanted: Array) -> Flows:
        found = at_flows(loop, terms, wanted)
        return found._replace(converged=np.zeros_like(found.converged))

    monkeypatch.setattr(loop_curve, "at_flows", unsettled)
    actual = loop_state({"required_flow_l_per_min": 2.0})

    assert (actual.speed_fraction_needed, actual.curve) == (None, ())
    assert actual.flow_l_per_min > 0.0


def test_speed_whose_loop_does_not_settle(monkeypatch: pytest.MonkeyPatch) -> None:
    """A required flow of a branch whose speed cannot be solved for has no speed to report."""
    over = loop_curve.over_speeds

    def solved(loop: Loop, liquid: Liquid, ratios: Array) -> pump_speed.Speeds:
        speeds = over(loop, liquid, ratios)
        monkeypatch.setattr(network, "ITERATION_LIMIT", 0)
        return speeds

    monkeypatch.setattr(loop_curve, "over_speeds", solved)
    short = ask_head({"branches/0/required_flow_l_per_min": 9.0})

    assert short.state is not None
    assert short.state.speed_fraction_needed is None
    assert short.outcome.reason.startswith("fails")
    assert not any("No speed" in line for line in short.outcome.advice)
    assert any("stronger pump" in line for line in short.outcome.advice)
    assert "speed_not_found" in {note.code for note in short.notes}


def test_speed_where_some_speeds_do_not_settle(monkeypatch: pytest.MonkeyPatch) -> None:
    """Speeds that did not settle are passed over; without the fastest nothing is ruled out."""
    over = loop_curve.over_speeds
    unsettled: list[int] = []

    def solved(loop: Loop, liquid: Liquid, ratios: Array) -> pump_speed.Speeds:
        speeds = over(loop, liquid, ratios)
        speeds.flows.flow[:, unsettled] = np.nan
        speeds.flows.converged[unsettled] = False
        return speeds

    settled = loop_state(BRANCH_FLOW).speed_fraction_needed
    monkeypatch.setattr(loop_curve, "over_speeds", solved)
    unsettled += [1, 2, 3, 4, 5, 6]
    again = loop_state(BRANCH_FLOW).speed_fraction_needed
    assert settled == pytest.approx(again, rel=2e-6)

    wanted = {"branches/0/required_flow_l_per_min": 30.0}
    assert "No speed up to four times" in ask_head(wanted).outcome.advice[0]
    unsettled.append(int(pump_speed.SPEEDS.argmax()))
    assert not any("No speed" in line for line in ask_head(wanted).outcome.advice)


def test_search_over_machines_that_do_not_settle(monkeypatch: pytest.MonkeyPatch) -> None:
    """No criterion is blamed by numbers that did not converge."""
    monkeypatch.setattr(machine, "ITERATION_LIMIT", 1)
    asked = msgspec.convert(example("solve-for"), SolveForQuestion)

    actual = solve_for.answer(asked)

    assert (actual.outcome.status, actual.state) == ("no_operating_point", None)
    assert "it is the settling of flow, air and heat together that fails" in actual.outcome.reason
    assert {(row.holds, row.worst, row.chance) for row in actual.tried} == {
        (False, solve_for_judge.UNSETTLED, None)
    }


def test_refusal_keeps_its_faults_on_the_way_to_another_process() -> None:
    """A worker's refusal still says which field to change."""
    sent = Refusal(Fault(("room", "air_c"), "too cold"), Fault(("pumps", 0), "too fast"))

    received = pickle.loads(pickle.dumps(sent))  # noqa: S301 - our own bytes

    assert received.faults == sent.faults
    assert str(received) == "too cold; too fast"
