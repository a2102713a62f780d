"""Radiators whose fans stand: what stays, what falls, and what the rest of the air does."""

from collections.abc import Sequence
from typing import Any

import msgspec
import numpy as np
import pytest

from loopmargin_service.physics import machine as physics
from loopmargin_service.physics.fan_loss import STILL_CASE, heat_with_standing_fans
from loopmargin_service.physics.heat_balance import HeatInput
from loopmargin_service.questions import machine_build, pipework
from loopmargin_wire.steady_state import SteadyStateQuestion
from tests.unit.questions.asked import changed, example

ELEMENTS = "branches/0/elements"
RADIATOR = example("steady-state")["branches"][0]["elements"][6]
SECOND = {f"{ELEMENTS}/9": {**RADIATOR, "name": "booth radiator"}}


def standing(
    fans: Sequence[Sequence[bool]], changes: dict[str, Any] | None = None
) -> tuple[physics.Equilibrium, HeatInput]:
    """Settle the example machine and stop fans in some cases, (paths with fans, cases)."""
    document = changed(example("steady-state"), changes)
    question = msgspec.convert(document, SteadyStateQuestion)
    plumbing = pipework.build(question.branches, question.pumps, "suction")
    built = machine_build.build(question, plumbing)
    setting = machine_build.setting(question, built, np.ones(1), np.ones(1))
    state = physics.solve(built.machine, setting)
    still = np.full((len(built.radiators), 1), 1.5)
    given, found = heat_with_standing_fans(built.machine, setting, state, np.array(fans), still)
    assert found.all()
    return state, given


def test_with_all_fans_running_nothing_changes() -> None:
    """The first case is the equilibrium itself."""
    state, given = standing([[False]])

    assert given.conductance == pytest.approx(state.conductance, rel=1e-5)
    assert given.pump_heat == pytest.approx(state.pump_heat, rel=1e-12)
    assert given.air_into_case[-1, 0] == pytest.approx(0.0, abs=0.0)


def test_a_standing_radiator_has_its_still_conductance() -> None:
    """And a case that nothing ventilates any more sheds what its walls do."""
    _, given = standing([[False, True]])

    assert given.conductance[0, 1] == pytest.approx(1.5, rel=1e-12)
    assert given.air_into_case[:, 1].sum() == pytest.approx(STILL_CASE, rel=1e-9)


def test_other_fans_go_on_and_the_coolant_goes_on() -> None:
    """Without the fans of one radiator the other keeps its own."""
    state, given = standing([[False, True, False], [False, False, True]], SECOND)

    assert given.conductance[0, 1] == given.conductance[1, 2] == pytest.approx(1.5)
    assert given.conductance[1, 1] > 0.7 * state.conductance[1, 0]
    assert given.branch_capacity[0] == pytest.approx(np.full(3, given.branch_capacity[0, 0]))


def test_case_fans_do_not_help_a_standing_radiator() -> None:
    """Air that other fans push through is left out, on the safe side."""
    rear = {"name": "rear", "fans": RADIATOR["fans"], "area_cm2": 200, "air_path": "exhaust"}
    _, given = standing([[True], [False]], {"case/fans": [rear]})

    assert given.conductance[0, 0] == pytest.approx(1.5, rel=1e-12)
    assert given.air_into_case[0, 0] > STILL_CASE


def test_without_its_fans_the_case_has_what_the_radiators_push_through_it() -> None:
    """Less air passes than with them; the radiator keeps its own fans, and some of its air."""
    rear = {"name": "rear", "fans": RADIATOR["fans"], "area_cm2": 200, "air_path": "exhaust"}
    state, given = standing([[False, False], [False, True]], {"case/fans": [rear]})
    without, plain = standing([[False]])

    assert given.conductance[0, 0] == pytest.approx(state.conductance[0, 0], rel=1e-5)
    assert 1.5 < given.conductance[0, 1] < given.conductance[0, 0]
    assert given.air_into_case[:, 1].sum() < given.air_into_case[:, 0].sum()
    # A standing fan lets air through: there is more than in a case that has a wall in its place.
    assert given.conductance[0, 1] > plain.conductance[0, 0] * (1.0 - 1e-3)
    assert without.conductance == pytest.approx(plain.conductance, rel=1e-5)
