"""There and back: a search ends between the two grid points of a sweep where `holds` turns.

The sweep judges coolant, parts and flow; the search also supply and noise, so the machine here has
no listener and more supply than it can use.
"""

from typing import Any, NamedTuple

import msgspec
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from loopmargin_service.questions import solve_for, sweep
from loopmargin_wire.solve_for import Solution, SolveForQuestion
from loopmargin_wire.sweep import SweepAnswer, SweepQuestion
from tests.unit.questions.swept import machine

STEPS = 240
AMPLE_W = 1600.0


class Setting(NamedTuple):
    """What is looked for: an axis without values, its range, and from which end."""

    axis: dict[str, Any]
    lowest: float
    highest: float
    seek: str

    def grid(self) -> list[float]:
        """Run through the range from the end from which the search begins."""
        ends = (self.lowest, self.highest)
        return np.linspace(*(ends if self.seek == "least" else ends[::-1]), STEPS + 1).tolist()  # type: ignore[no-any-return]


SETTINGS = {
    "fan speed": Setting({"kind": "factor", "of": "fan_speeds"}, 0.3, 1.9, "least"),
    "pump speed": Setting({"kind": "factor", "of": "pump_speeds"}, 0.4, 1.9, "least"),
    "one pump's speed": Setting(
        {"kind": "field", "pointer": "/pumps/0/speed_rpm"}, 1500.0, 6000.0, "least"
    ),
    "warmest room": Setting({"kind": "field", "pointer": "/room/air_c"}, 5.0, 50.0, "greatest"),
    "largest heat": Setting({"kind": "factor", "of": "part_powers"}, 0.2, 2.5, "greatest"),
}


def asked(limit_c: float, flow_l_per_min: float, **changed: Any) -> dict[str, Any]:  # noqa: ANN401 - any field
    """Write the machine with other limits."""
    document = machine()
    document["supply"]["rated_w"] = AMPLE_W
    limits = {"coolant_limit_c": limit_c, "required_flow_l_per_min": flow_l_per_min}
    return {**document, "uncertainty": None, **limits, **changed}


def searched(document: dict[str, Any], setting: Setting) -> Solution | None:
    """Search for the boundary."""
    unknown = {**setting.axis, "lowest": setting.lowest, "highest": setting.highest}
    body = {"machine": document, "unknown": unknown, "seek": setting.seek}
    return solve_for.answer(msgspec.convert(body, SolveForQuestion)).state


def swept(
    document: dict[str, Any], setting: Setting, values: list[float], **fields: int
) -> SweepAnswer:
    """Sweep some values."""
    body = {"machine": document, "axes": [{**setting.axis, "values": values}], **fields}
    return sweep.answer(msgspec.convert(body, SweepQuestion))


def just_beside(setting: Setting, found: Solution) -> tuple[float, float]:
    """Give the value found and one just beyond the boundary, each a tolerance further."""
    step = 1.001 * found.tolerance * (1.0 if setting.seek == "least" else -1.0)
    return found.value + step, found.value - step


@pytest.mark.parametrize("name", SETTINGS)
@settings(max_examples=5)
@given(st.floats(40.0, 60.0), st.floats(1.2, 3.2))
def test_a_search_ends_where_a_sweep_turns(
    name: str, limit_c: float, flow_l_per_min: float
) -> None:
    """Between the first value of a fine grid that holds and the one before it."""
    setting, document = SETTINGS[name], asked(limit_c, flow_l_per_min)
    grid = setting.grid()
    holds = swept(document, setting, grid).state.holds
    found = searched(document, setting)

    if not any(holds):
        assert found is None
        return
    assert found is not None
    first = holds.index(True)
    if first == 0:
        assert (found.value, found.tolerance) == (grid[0], 0.0)
        return
    assert 0.0 < found.tolerance < abs(grid[1] - grid[0])
    low, high = sorted(grid[first - 1 : first + 1])
    assert low - found.tolerance <= found.value <= high + found.tolerance
    assert swept(document, setting, list(just_beside(setting, found))).state.holds == (True, False)


@pytest.mark.parametrize("name", SETTINGS)
def test_each_setting_has_a_boundary_to_find(name: str) -> None:
    """Where neither the whole range holds nor nothing of it, so that the above says something."""
    setting, document = SETTINGS[name], asked(48.0, 2.2)
    holds = swept(document, setting, setting.grid()).state.holds
    found = searched(document, setting)

    assert found is not None
    assert found.binding is not None
    assert 0 < holds.index(True) < STEPS


def test_with_draws_both_turn_at_the_same_chance() -> None:
    """The least chance of a drawn sweep crosses the confidence where the search ends."""
    setting = SETTINGS["fan speed"]
    document = asked(48.0, 2.2, uncertainty={"draws": 400, "seed": "5eed" * 8}, confidence=0.9)
    found = searched(document, setting)
    assert found is not None
    answer = swept(document, setting, list(just_beside(setting, found)), draws=400)

    chances = [
        column.values
        for column in answer.state.columns
        if column.name.endswith(" chance") and column.name != "holds chance"
    ]
    enough, too_little = (min(values) for values in zip(*chances, strict=True))  # type: ignore[type-var]
    assert len(chances) >= 3
    assert enough >= 0.9 > too_little  # type: ignore[operator]
