"""The value found is the boundary: it holds, a step beyond it does not, and the reason is named."""

import json
import re
from pathlib import Path
from typing import Any

import msgspec
import pytest

from loopmargin_service.questions import solve_for, solve_for_judge, steady_state
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
FAN_COUNT = f"/branches/0/elements/{RADIATOR}/fans/count"
COUNT = {"kind": "field", "pointer": FAN_COUNT, "lowest": 1, "highest": 6}


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
    answer = ask({**FANS, "lowest": 0.4, "highest": 0.6}, "least")

    assert answer.state is None
    assert answer.outcome.status == "no_operating_point"
    assert "hottest coolant" in answer.outcome.reason
    assert answer.outcome.advice
    assert not any(tried.holds for tried in answer.tried)


def test_a_range_that_holds_throughout_gives_its_end() -> None:
    """Nothing binds inside the range."""
    answer = ask({**FANS, "lowest": 1.5, "highest": 1.8}, "least")
    found = solution(answer)

    assert (found.value, found.binding, found.tolerance) == (1.5, None, 0.0)
    assert answer.outcome.reason == (
        "all values tried hold; the value is the end of the range, and a smaller one may hold, too"
    )


def test_an_end_that_holds_says_how_much_of_the_range_does() -> None:
    """The coolest room holds, the warmest does not; the note says where it stops."""
    answer = ask(ROOM, "least")
    holding = sum(one.holds for one in answer.tried)
    note = next(one for one in answer.notes if one.code == "holds_in_a_window")

    assert solution(answer).value == 15.0
    assert answer.outcome.reason == (
        "the value is the end of the range, and a smaller one may hold, too; of the 9 values tried "
        f"{holding} hold"
    )
    assert "it is hottest coolant that fails" in note.text


def quiet(warm: float, loud: float) -> dict[str, Any]:
    """Give the limits that the machine just meets at two factors on its fan speeds."""
    document = machine(listener=json.loads(EXAMPLE.read_text())["listener"])
    states = []
    for factor in (warm, loud):
        fans = document["branches"][0]["elements"][RADIATOR]["fans"]
        fans["speed_rpm"] = 900.0 * factor
        answer = steady_state.answer(msgspec.convert(document, SteadyStateQuestion))
        assert answer.state is not None
        states.append(answer.state)
    slow, fast = states
    assert fast.noise is not None
    level = fast.noise.level_dba
    listener = {**document["listener"], "allowed_dba": level}
    return {"coolant_limit_c": slow.coolant_hottest_c, "listener": listener}


@pytest.mark.parametrize(("seek", "end"), [("least", 0), ("greatest", 1)])
@pytest.mark.parametrize("window", [(1.02, 1.03), (1.17, 1.18), (0.9, 0.902)])
def test_a_narrow_window_between_heat_and_noise_is_found(
    window: tuple[float, float], seek: str, end: int
) -> None:
    """No value of the first look lies in it; heat bounds it below and noise above."""
    found = solution(ask({**FANS, "lowest": 0.3, "highest": 1.6}, seek, **quiet(*window)))

    assert found.value == pytest.approx(window[end], abs=found.tolerance + 1e-4)
    assert found.binding == ("hottest coolant", "noise at the listener")[end]


def test_limits_that_exclude_each_other_are_told() -> None:
    """What is too warm below is too loud above."""
    answer = ask({**FANS, "lowest": 0.3, "highest": 1.6}, "least", **quiet(1.2, 1.1))

    assert answer.state is None
    assert re.search(
        r"no window was found between \S+, where it is hottest coolant that fails, and \S+, where "
        "it is noise at the listener that fails$",
        answer.outcome.reason,
    )


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


def test_margins_that_the_search_leaves_out_are_named_where_they_are_not_met() -> None:
    """A pump as slow as cooling allows does not carry air down the tubes."""
    unknown = {"kind": "factor", "of": "pump_speeds", "lowest": 0.3, "highest": 2.0}
    limits = {"coolant_limit_c": 75, "required_flow_l_per_min": 0.3}
    answer = ask(unknown, "least", **limits)
    missed = [one.criterion for one in answer.margins if one.verdict != "meets"]
    note = next(one for one in answer.notes if one.code == "margins_not_sought")

    assert missed
    assert all(name.startswith(solve_for_judge.NOT_SOUGHT) for name in missed)
    assert note.text.endswith("; ".join(missed))


def test_margins_that_the_search_leaves_out_are_margins() -> None:
    """Their names are those of `steady-state`."""
    answer = steady_state.answer(msgspec.convert(machine(), SteadyStateQuestion))
    names = [one.criterion for one in answer.margins]

    for start in solve_for_judge.NOT_SOUGHT:
        assert any(name.startswith(start) for name in names)


@pytest.mark.parametrize("limits", [{}, {"coolant_limit_c": 30}])
def test_notes_stand_once_and_point_into_this_question(limits: dict[str, float]) -> None:
    """Also where nothing holds, and there with what was drawn."""
    plain = ask(FANS, "least", **limits)
    drawn = ask(FANS, "least", uncertainty={"draws": 200}, **limits)

    for answer in (plain, drawn):
        texts = [note.text for note in answer.notes]
        assert len(texts) == len(set(texts))
        pointers = {note.pointer for note in answer.notes} - {"", "/unknown"}
        assert all(pointer.startswith("/machine/") for pointer in pointers)
    assert [note.code for note in plain.notes].count("not_drawn") == 1
    assert "not_drawn" not in [note.code for note in drawn.notes]


def test_another_question_with_the_same_seed_counts_the_same_chance() -> None:
    """Without it both are right within the standard error; the note says so and names the seed."""
    answer = ask(FANS, "least", uncertainty={"draws": 200})
    found = solution(answer)
    note = next(one for one in answer.notes if one.code == "seed_of_the_search")
    assert found.machine is not None
    assert found.machine.simulation is not None
    seed = found.machine.simulation.seed
    document = machine(uncertainty={"draws": 200, "seed": seed})
    document["branches"][0]["elements"][RADIATOR]["fans"]["speed_rpm"] *= found.value
    there = steady_state.answer(msgspec.convert(document, SteadyStateQuestion))
    seeded = ask(FANS, "least", uncertainty={"draws": 200, "seed": seed})

    assert seed in note.text
    assert there.margins == answer.margins
    assert solution(seeded).value == found.value
    assert "seed_of_the_search" not in [one.code for one in seeded.notes]


def test_what_was_tried_has_the_error_of_its_chance() -> None:
    """And a criterion by the name of a margin of the machine."""
    answer = ask(FANS, "least", uncertainty={"draws": 200})
    value = solution(answer).value
    row = next(one for one in answer.tried if one.value == value)
    margin = next(one for one in answer.margins if one.criterion == row.worst)

    assert (row.chance, row.chance_standard_error) == (margin.chance, margin.chance_standard_error)


def mute(unknown: dict[str, Any], *numbers: int) -> dict[str, Any]:
    """Take the sound of the fans off some elements."""
    changed: dict[str, Any] = json.loads(json.dumps(unknown))
    for number in numbers:
        del changed["elements"][number]["fans"]["fan"]["sound"]
    return changed


def test_an_element_that_cannot_be_is_told_as_that() -> None:
    """A fan of unknown sound promises nothing to a listener; the next one in stock may."""
    listener = {"distance_m": 1, "allowed_dba": 60}
    answer = ask(mute(radiators(140.0, 200.0), 0), "least", listener=listener)

    assert solution(answer).element == "200 mm high"
    assert (solution(answer).binding or "").startswith(
        "the machine cannot be: there is a listener, but"
    )


def test_elements_none_of_which_can_be_are_refused_in_their_places() -> None:
    """The question contradicts itself."""
    listener = {"distance_m": 1, "allowed_dba": 60}
    with pytest.raises(Refusal) as caught:
        ask(mute(radiators(140.0, 200.0), 0, 1), "least", listener=listener)

    assert [fault.path for fault in caught.value.faults] == [
        ("unknown", "elements", number, "fans", "fan", "sound") for number in (0, 1)
    ]


def test_a_machine_that_cannot_be_at_any_value_is_refused_in_its_place() -> None:
    """Whatever the fans do, its coolant does not come back."""
    branches = [{**machine()["branches"][0], "to_node": "nowhere"}]
    with pytest.raises(Refusal) as caught:
        ask(FANS, "least", branches=branches)

    assert ("machine", "branches", 0, "to_node") in [fault.path for fault in caught.value.faults]


def test_a_part_of_the_range_in_which_the_machine_cannot_be_bounds_it() -> None:
    """In a room in which the coolant freezes."""
    found = solution(ask({**ROOM, "lowest": -100, "highest": 20}, "least"))

    assert found.binding is not None
    assert re.match("the machine cannot be: .* freezing point", found.binding)


def test_a_range_without_any_operating_point_says_why() -> None:
    """Hardly turning fans let the coolant come near boiling."""
    answer = ask({**FANS, "lowest": 0.05, "highest": 0.12}, "least")

    assert "at 0.12 there is no operating point: the" in answer.outcome.reason


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


@pytest.mark.parametrize(
    ("unknown", "path"),
    [
        ({**ROOM, "lowest": 30, "highest": 30}, ("unknown", "highest")),
        ({**COUNT, "lowest": 1.1, "highest": 1.9}, ("unknown", "highest")),
        ({**ROOM, "lowest": 100, "highest": 200}, ("unknown", "highest")),
        ({**ROOM, "pointer": "/room/colour"}, ("unknown", "pointer")),
        ({**ROOM, "pointer": "/uncertainty/draws"}, ("unknown", "pointer")),
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
