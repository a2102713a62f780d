"""How a machine settles: whole solves at first and when careful, single steps between."""

import numpy as np
import pytest

from loopmargin_service.physics import machine
from loopmargin_service.physics.network import Flows
from tests.unit.physics.bench_machine import ROOM_TEMPERATURE, build, setting, settled
from tests.unit.physics.test_machine import SIMPLE


def solves(monkeypatch: pytest.MonkeyPatch) -> tuple[int, int]:
    """Count whole solves of coolant and air together, and the repetitions of the machine."""
    whole = machine.network.solve
    calls = []

    def counted(*given: object) -> Flows:
        calls.append(1)
        return whole(*given)  # type: ignore[arg-type]

    monkeypatch.setattr(machine.network, "solve", counted)
    state = settled(SIMPLE)
    return len(calls), int(state.iterations[0])


def test_flows_are_solved_whole_at_first_and_then_by_single_steps(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Once near, a repetition takes one Newton step in the coolant and one in the air."""
    calls, repetitions = solves(monkeypatch)
    assert calls == 2
    assert repetitions > 2


def test_a_careful_repetition_solves_both_flows_whole(monkeypatch: pytest.MonkeyPatch) -> None:
    """From the repetition on that `CAREFUL` numbers, the first being zero."""
    monkeypatch.setattr(machine, "CAREFUL", 1)
    calls, repetitions = solves(monkeypatch)
    assert calls == 2 * repetitions


def test_temperatures_that_will_not_settle_go_half_way(monkeypatch: pytest.MonkeyPatch) -> None:
    """From the repetition on that `HALF_WAY` numbers, everything lies between before and after."""
    monkeypatch.setattr(machine, "ITERATION_LIMIT", 1)
    warm = ROOM_TEMPERATURE + machine.START_RISE
    whole = machine.solve(build(SIMPLE), setting(SIMPLE))
    monkeypatch.setattr(machine, "HALF_WAY", 0)
    half = machine.solve(build(SIMPLE), setting(SIMPLE))

    np.testing.assert_allclose(half.stacked, 0.5 * (warm + whole.stacked), rtol=1e-13)
    for mine, full in (
        (half.temperatures.nodes, whole.temperatures.nodes),
        (half.temperatures.case, whole.temperatures.case),
    ):
        np.testing.assert_allclose(mine, 0.5 * (warm + full), rtol=1e-13)
    np.testing.assert_allclose(half.change, 0.5 * whole.change, rtol=1e-9)
    assert np.abs(whole.stacked - warm).max() > 1.0
