"""The value found is the boundary: it holds, a step beyond it does not, and the reason is named."""

import json
from pathlib import Path
from typing import Any

import msgspec
import pytest

from loopmargin_service.questions import solve_for, steady_state
from loopmargin_service.questions.refusals import Refusal
from loopmargin_wire.solve_for import Solution, SolveForAnswer, SolveForQuestion
from loopmargin_wire.steady_state import SteadyStateQuestion

EXAMPLE = Path(__file__).parents[3] / "openapi" / "examples" / "steady-state.question.json"


def machine(**changed: object) -> dict[str, Any]:
    """Read the machine of the example, some fields replaced."""
    document: dict[str, Any] = json.loads(EXAMPLE.read_text())
    document.pop("listener", None)
    return {**document, "uncertainty": None, **changed}


def ask(unknown: dict[str, Any], seek: str, **changed: object) -> SolveForAnswer:
    """Ask for a boundary of the example machine."""
    body = {"machine": machine(**changed), "unknown": unknown, "seek": seek}
    return solve_for.answer(msgspec.convert(body, SolveForQuestion))


def solution(answer: SolveForAnswer) -> Solution:
    """Give the solution that there must be."""
    assert answer.state is not None
    return answer.state


FANS = {"kind": "factor", "of": "fan_speeds"}
RADIATOR = 6
ROOM = {"kind": "field", "pointer": "/room/air_c", "lowest": 15, "highest": 45}


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


def radiators(*heights_mm: float) -> dict[str, Any]:
    """List the example's radiator with faces of other heights, each with a name of its own."""
    element = machine()["branches"][0]["elements"][RADIATOR]
    elements = [
        {
            **element,
            "name": f"{height:g} mm high",
            "radiator": {**element["radiator"], "face_height_mm": height},
        }
        for height in heights_mm
    ]
    pointer = f"/branches/0/elements/{RADIATOR}"
    return {"kind": "alternative", "pointer": pointer, "elements": elements}


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


def test_no_radiator_in_stock_is_an_answer() -> None:
    """It names the one that came closest and what fails with it."""
    answer = ask(radiators(50.0, 60.0), "least")

    assert answer.state is None
    assert answer.outcome.reason == (
        "none of the 2 elements meets the margins; with 60 mm high it is hottest coolant that fails"
    )


def test_with_uncertainty_the_chance_is_the_confidence() -> None:
    """The fans must turn faster when the margin is to hold with 95 %, and then it does."""
    plain = solution(ask(FANS, "least"))
    sure = ask(FANS, "least", uncertainty={"draws": 500})
    margin = next(row for row in sure.margins if row.criterion == "hottest coolant")

    assert solution(sure).value > plain.value
    assert margin.chance is not None
    assert 0.95 <= margin.chance <= 0.97
    assert margin.verdict == "meets"


def test_nothing_works_is_an_answer() -> None:
    """A range in which nothing holds says so, with what fails at its better end."""
    answer = ask({**FANS, "lowest": 0.1, "highest": 0.3}, "least")

    assert answer.state is None
    assert answer.outcome.status == "no_operating_point"
    assert "hottest coolant" in answer.outcome.reason
    assert answer.outcome.advice
    assert not any(tried.holds for tried in answer.tried)


def test_a_range_that_holds_throughout_gives_its_end() -> None:
    """Nothing binds inside the range."""
    found = solution(ask({**FANS, "lowest": 1.5, "highest": 1.8}, "least"))

    assert (found.value, found.binding, found.tolerance) == (1.5, None, 0.0)


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

    assert found.binding is not None
    assert found.binding.startswith("supply: ")


@pytest.mark.parametrize(
    ("unknown", "path"),
    [
        ({**ROOM, "lowest": 30, "highest": 30}, ("unknown", "highest")),
        ({**ROOM, "pointer": "/room/colour"}, ("unknown", "pointer")),
        ({**radiators(140.0), "pointer": "/branches/0/elements/99"}, ("unknown", "pointer")),
    ],
)
def test_an_unknown_that_cannot_be_sought_is_refused(
    unknown: dict[str, Any], path: tuple[str, ...]
) -> None:
    """An empty range and a field that is not there are refused with their place."""
    with pytest.raises(Refusal) as caught:
        ask(unknown, "greatest")

    assert caught.value.faults[0].path == path


def test_no_speed_beyond_twice_the_curve_holds() -> None:
    """A search to four times the fan speed ends where the curve says nothing more."""
    found = solution(ask({**FANS, "lowest": 1.5, "highest": 4.0}, "greatest"))

    assert found.binding is not None
    assert "a curve says nothing" in found.binding
    # The fans stand at 900 of the 1500 rpm of their curve.
    assert found.value == pytest.approx(2.0 * 1500.0 / 900.0, abs=2.0 * found.tolerance)


def test_too_many_draws_at_every_value_are_refused() -> None:
    """The limit is named where the draws are asked for."""
    with pytest.raises(Refusal) as caught:
        ask(FANS, "least", uncertainty={"draws": 2001})

    assert caught.value.faults[0].path == ("machine", "uncertainty", "draws")


def test_supply_and_noise_count_with_their_chances() -> None:
    """With draws the noise must keep its allowance with the confidence, not at best estimate."""
    document = json.loads(EXAMPLE.read_text())
    unknown = {**FANS, "lowest": 0.9, "highest": 2.0}
    limits = {"coolant_limit_c": 90, "listener": document["listener"]}
    plain = solution(ask(unknown, "greatest", **limits))
    sure = solution(ask(unknown, "greatest", **limits, uncertainty={"draws": 200}))

    assert plain.binding == sure.binding == "noise at the listener"
    assert sure.value < plain.value
