"""Radiators whose fans stand: what stays, what falls, and what the rest of the air does."""

from collections.abc import Sequence
from typing import Any

import msgspec
import numpy as np
import pytest

from loopmargin_service.physics import coolant, fan_loss
from loopmargin_service.physics import machine as physics
from loopmargin_service.physics.fan_loss import STILL_CASE, heat_with_standing_fans
from loopmargin_service.physics.heat_balance import HeatInput, settle
from loopmargin_service.questions import machine_build, pipework
from loopmargin_service.questions.machine_build import Built
from loopmargin_wire.steady_state import SteadyStateQuestion
from tests.unit.questions.asked import changed, example

ELEMENTS = "branches/0/elements"
RADIATOR = example("steady-state")["branches"][0]["elements"][6]
SECOND = {f"{ELEMENTS}/9": {**RADIATOR, "name": "booth radiator"}}


STILL = np.full((1, 1), 1.5)


def settled(
    changes: dict[str, Any] | None = None,
) -> tuple[Built, physics.Setting, physics.Equilibrium]:
    """Settle the example machine with some changes."""
    document = changed(example("steady-state"), changes)
    question = msgspec.convert(document, SteadyStateQuestion)
    plumbing = pipework.build(question.branches, question.pumps, "suction")
    built = machine_build.build(question, plumbing)
    setting = machine_build.setting(question, built, np.ones(1), np.ones(1))
    return built, setting, physics.solve(built.machine, setting)


def _ends(state: physics.Equilibrium) -> list[int]:
    """Give where each profile ends among all."""
    return np.cumsum([len(profile) for profile in state.temperatures.profiles])[:-1].tolist()


def standing(
    fans: Sequence[Sequence[bool]], changes: dict[str, Any] | None = None
) -> tuple[physics.Equilibrium, HeatInput]:
    """Settle the example machine and stop fans in some cases, (paths with fans, cases)."""
    built, setting, state = settled(changes)
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


def test_with_all_fans_running_the_heat_balance_is_that_of_the_machine() -> None:
    """In each case of a batch in which no fan stands: flows, heats and temperatures."""
    built, setting, state = settled(SECOND)
    given, _ = heat_with_standing_fans(
        built.machine, setting, state, np.zeros((2, 3), dtype=np.bool_), STILL
    )
    branches = len(built.machine.loop.branch_tail)
    mean = float(state.stacked.mean())
    heat_capacity = float(
        coolant.properties(
            built.machine.fluid, built.machine.mass_fraction, np.array([mean])
        ).heat_capacity[0]
    )

    for case in range(3):
        streams = np.concatenate([given.branch_capacity, given.pump_capacity])[:, case]
        np.testing.assert_allclose(streams, state.flows.flow[:, 0] * heat_capacity, rtol=1e-9)
        np.testing.assert_array_equal(given.block_heat[:, case], setting.block_heat[:, 0])
        assert given.room[case] == setting.room_temperature[0]
        assert given.case_heat[case] == state.case_heat[0]
    assert given.branch_capacity.shape == (branches, 3)
    assert given.block_heat.shape == (setting.block_heat.shape[0], 3)

    found = settle(built.machine.heat, given)
    for profile, whole in zip(found.profiles, np.split(state.stacked, _ends(state)), strict=True):
        np.testing.assert_allclose(profile, np.repeat(whole, 3, axis=1), atol=2e-3)
    np.testing.assert_allclose(found.case, state.temperatures.case[0], atol=2e-3)


def test_air_that_is_nearly_still_counts_as_found_case_by_case(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """What moves has to balance; what stands need not, whatever its neighbours do."""
    built, setting, state = settled()
    moving = float(np.abs(state.air_flows.flow).max())
    monkeypatch.setattr(fan_loss, "BALANCED", 0.0)
    monkeypatch.setattr(fan_loss, "STILL_FLOW", 0.5 * moving)

    _, found = heat_with_standing_fans(
        built.machine, setting, state, np.array([[False, True]]), STILL
    )

    assert found.tolist() == [False, True]


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
