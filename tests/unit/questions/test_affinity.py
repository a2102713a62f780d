"""Speeds far from those of the curves: noted, widened, and beyond twice no answer."""

import math
from collections.abc import Callable

import pytest

from loopmargin_wire.answer import Answer
from loopmargin_wire.uncertainty import Simulation
from tests.unit.questions.asked import (
    Changes,
    area_state,
    ask_area,
    ask_head,
    ask_machine,
    loop_state,
    machine_state,
)

RADIATOR_FANS = "branches/0/elements/6/fans/speed_rpm"


@pytest.mark.parametrize(
    ("ask", "changes", "name"),
    [
        (ask_area, {"air/fans/speed_rpm": 3100}, "fan"),
        (ask_head, {"pumps/0/speed_rpm": 9700}, "booth pump"),
        (ask_machine, {"pumps/0/speed_rpm": 9700}, "booth pump"),
        (ask_machine, {RADIATOR_FANS: 3100}, "wide slow fan"),
    ],
)
def test_more_than_twice_the_speed_is_no_answer(
    ask: Callable[[Changes], Answer], changes: Changes, name: str
) -> None:
    """No margin meets what a curve says nothing of; the reason names the fan or pump."""
    answer = ask(changes)

    assert answer.outcome.status == "outside_validity"
    assert name in answer.outcome.reason
    assert answer.outcome.advice
    assert "hottest coolant" not in {row.criterion for row in answer.margins}
    assert "loop flow" not in {row.criterion for row in answer.margins}


def doubts(simulation: Simulation | None) -> dict[str, float]:
    """Give what was drawn."""
    assert simulation is not None
    return {row.cause: row.standard_uncertainty for row in simulation.inputs}


def test_outside_their_range_the_laws_themselves_are_in_doubt() -> None:
    """A doubt of the law stands beside that of the curve; inside the range there is none."""
    usual, fast = machine_state(), machine_state({RADIATOR_FANS: 2700, "pumps/0/speed_rpm": 6000})

    assert not any("affinity" in cause for cause in doubts(usual.simulation))
    assert doubts(fast.simulation)["affinity law of fans"] == 0.10
    assert doubts(fast.simulation)["affinity law of pumps"] == 0.05


def test_a_fast_fan_on_a_radiator_and_a_slow_pump_of_a_loop() -> None:
    """The part questions doubt the same laws."""
    area, loop = area_state({"air/fans/speed_rpm": 2700}), loop_state({"pumps/0/speed_rpm": 2000})

    assert "affinity law of fans" in doubts(area.simulation)
    assert "affinity law of pumps" in doubts(loop.simulation)


def test_twice_the_speed_but_for_the_last_digit_is_not_faster() -> None:
    """A factor on a speed, in a sweep or a search, may come out just above what was meant."""
    just_above, faster = (
        ask_head({"pumps/0/speed_rpm": speed}).outcome.reason
        for speed in (math.nextafter(9600.0, math.inf), 9601.0)
    )

    assert "a curve says nothing" not in just_above
    assert "a curve says nothing" in faster
