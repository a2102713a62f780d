"""What a search says beside its value: ends, windows, notes, seeds, and what cannot be."""

import re
from typing import Any

import msgspec
import pytest

from loopmargin_service.questions import solve_for_judge, steady_state
from loopmargin_service.questions.refusals import Refusal
from loopmargin_wire.steady_state import SteadyStateQuestion
from tests.unit.questions.sought import (
    COUNT,
    FANS,
    RADIATOR,
    ROOM,
    ask,
    machine,
    mute,
    quiet,
    radiators,
    solution,
)


def test_no_radiator_in_stock_is_an_answer() -> None:
    """It names the one that came closest and what fails with it."""
    answer = ask(radiators(50.0, 60.0), "least")

    assert answer.state is None
    assert answer.outcome.reason == (
        "none of the 2 elements meets the margins; with 60 mm high it is hottest coolant that fails"
    )


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


def test_limits_that_exclude_each_other_are_told() -> None:
    """What is too warm below is too loud above."""
    answer = ask({**FANS, "lowest": 0.3, "highest": 1.6}, "least", **quiet(1.2, 1.1))

    assert answer.state is None
    assert re.search(
        r"no window was found between \S+, where it is hottest coolant that fails, and \S+, where "
        "it is noise at the listener that fails$",
        answer.outcome.reason,
    )


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


def test_too_many_draws_at_every_value_are_refused() -> None:
    """The limit is named where the draws are asked for."""
    with pytest.raises(Refusal) as caught:
        ask(FANS, "least", uncertainty={"draws": 2001})

    assert caught.value.faults[0].path == ("machine", "uncertainty", "draws")
