"""The value found is the boundary: it holds, a step beyond it does not, and the reason is named."""

import json

import msgspec
import pytest

from loopmargin_service.questions import solve_for, steady_state
from loopmargin_wire.solve_for import SolveForQuestion
from loopmargin_wire.steady_state import SteadyStateQuestion
from tests.unit.questions.sought import (
    COUNT,
    EXAMPLE,
    FANS,
    RADIATOR,
    ROOM,
    ask,
    machine,
    quiet,
    radiators,
    solution,
)


def test_the_slowest_fan_speed_brings_the_coolant_to_its_limit() -> None:
    """At the value found the hottest coolant stands just below its limit, and binds."""
    found = solution(ask(FANS, "least"))

    assert found.binding == "hottest coolant"
    assert found.machine is not None
    assert 0.0 <= 48.0 - found.machine.coolant_hottest_c < 0.05


def test_the_warmest_room_is_the_allowed_rise_below_the_limit() -> None:
    """A warmer room lifts the coolant degree by degree, and its thinner air a little more."""
    base = steady_state.answer(msgspec.convert(machine(), SteadyStateQuestion)).state
    found = solution(ask(ROOM, "greatest"))

    assert base is not None
    assert found.machine is not None
    assert 0.0 <= 48.0 - found.machine.coolant_hottest_c < 0.05
    degree_by_degree = 27.0 + 48.0 - base.coolant_hottest_c
    assert 0.85 < (found.value - 27.0) / (degree_by_degree - 27.0) < 1.0


def test_the_answer_of_a_sweep_gives_the_setting_back() -> None:
    """The flow that a pump speed gives is the flow for which that speed is the least."""
    slow = machine()
    slow["pumps"][0]["speed_rpm"] *= 0.9
    state = steady_state.answer(msgspec.convert(slow, SteadyStateQuestion)).state
    assert state is not None
    unknown = {"kind": "factor", "of": "pump_speeds", "lowest": 0.5, "highest": 2.0}

    found = solution(ask(unknown, "least", required_flow_l_per_min=state.flow_l_per_min))

    assert found.binding == "loop flow"
    assert found.value == pytest.approx(0.9, abs=2 * found.tolerance)


def test_the_smallest_radiator_of_those_in_stock_is_between_too_small_and_too_large() -> None:
    """The least face that holds lies between the height found and the next lower one in stock."""
    heights = (60.0, 80.0, 100.0, 120.0, 140.0, 200.0)
    listed = ask(radiators(*heights), "least")
    found = solution(listed)
    face = {
        "kind": "field",
        "pointer": f"/branches/0/elements/{RADIATOR}/radiator/face_height_mm",
        "lowest": 60,
        "highest": 200,
    }
    least = solution(ask(face, "least"))

    chosen = int(found.value)
    assert heights[chosen - 1] < least.value <= heights[chosen]
    assert found.element == f"{heights[chosen]:g} mm high"
    assert (found.tolerance, found.binding) == (0.0, least.binding)
    assert [one.holds for one in listed.tried] == [height >= least.value for height in heights]
    assert least.element is None


def test_the_greatest_of_alternatives_is_the_last_that_holds() -> None:
    """From the other end the order is the other one; where the end holds nothing binds."""
    found = solution(ask(radiators(60.0, 140.0, 200.0), "greatest"))

    assert (found.value, found.element, found.binding) == (2.0, "200 mm high", None)


def test_with_uncertainty_the_chance_is_the_confidence() -> None:
    """The fans must turn faster when the margin is to hold with 95 %, and then it does."""
    plain = solution(ask(FANS, "least"))
    sure = ask(FANS, "least", uncertainty={"draws": 500})
    margin = next(row for row in sure.margins if row.criterion == "hottest coolant")

    assert solution(sure).value > plain.value
    assert margin.chance is not None
    assert 0.95 <= margin.chance <= 0.97
    assert margin.verdict == "meets"


@pytest.mark.parametrize(("seek", "end"), [("least", 0), ("greatest", 1)])
@pytest.mark.parametrize("window", [(1.02, 1.03), (1.17, 1.18), (0.9, 0.902)])
def test_a_narrow_window_between_heat_and_noise_is_found(
    window: tuple[float, float], seek: str, end: int
) -> None:
    """No value of the first look lies in it; heat bounds it below and noise above."""
    found = solution(ask({**FANS, "lowest": 0.3, "highest": 1.6}, seek, **quiet(*window)))

    assert found.value == pytest.approx(window[end], abs=found.tolerance + 1e-4)
    assert found.binding == ("hottest coolant", "noise at the listener")[end]


@pytest.mark.parametrize(("lowest", "highest"), [(1, 6), (1.5, 6.4), (0.2, 40)])
def test_a_count_is_sought_among_whole_numbers(lowest: float, highest: float) -> None:
    """The least that holds, its neighbour below was tried, and a margin binds."""
    limit = {"coolant_limit_c": 44.5}
    answer = ask({**COUNT, "lowest": lowest, "highest": highest}, "least", **limit)
    found = solution(answer)
    tried = {one.value: one.holds for one in answer.tried}

    assert all(value.is_integer() for value in tried)
    assert (found.tolerance, found.binding) == (0.0, "hottest coolant")
    assert (tried[found.value], tried[found.value - 1.0]) == (True, False)


def test_a_limit_may_be_sought() -> None:
    """The least limit that holds is the temperature that can be promised."""
    unknown = {**ROOM, "pointer": "/coolant_limit_c", "lowest": 30, "highest": 80}
    found = solution(ask(unknown, "least"))

    assert found.machine is not None
    assert 0.0 <= found.value - found.machine.coolant_hottest_c <= found.tolerance


def test_a_flow_required_of_a_branch_counts() -> None:
    """It binds where the loop as a whole asks for less."""
    document = machine()
    branches = [{**document["branches"][0], "required_flow_l_per_min": 2.2}]
    unknown = {"kind": "factor", "of": "pump_speeds", "lowest": 0.5, "highest": 2.0}
    found = solution(ask(unknown, "least", branches=branches, required_flow_l_per_min=0.5))

    assert found.binding == "flow in loop"


def test_the_supply_can_bind() -> None:
    """With cool limits out of the way, more power is stopped by the supply."""
    document = machine(coolant_limit_c=90)
    for element in document["branches"][0]["elements"]:
        if element["kind"] == "block":
            element["limit_c"] = 140
    document["supply"]["rated_w"] = 550
    body = {
        "machine": document,
        "unknown": {"kind": "factor", "of": "part_powers", "lowest": 0.5, "highest": 3.0},
        "seek": "greatest",
    }
    found = solution(solve_for.answer(msgspec.convert(body, SolveForQuestion)))

    assert found.binding == "rating with margin"


def test_no_speed_beyond_twice_the_curve_holds() -> None:
    """A search to four times the fan speed ends where the curve says nothing more."""
    found = solution(ask({**FANS, "lowest": 1.5, "highest": 4.0}, "greatest"))

    assert found.binding is not None
    assert "a curve says nothing" in found.binding
    # The fans stand at 900 of the 1500 rpm of their curve.
    assert found.value == pytest.approx(2.0 * 1500.0 / 900.0, abs=2.0 * found.tolerance)


def test_supply_and_noise_count_with_their_chances() -> None:
    """With draws the noise must keep its allowance with the confidence, not at best estimate."""
    document = json.loads(EXAMPLE.read_text())
    unknown = {**FANS, "lowest": 0.9, "highest": 2.0}
    limits = {"coolant_limit_c": 90, "listener": document["listener"]}
    plain = solution(ask(unknown, "greatest", **limits))
    sure = solution(ask(unknown, "greatest", **limits, uncertainty={"draws": 200}))

    assert plain.binding == sure.binding == "noise at the listener"
    assert sure.value < plain.value
