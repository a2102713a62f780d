"""Cases of a sweep in any division: the same bytes, the same reasons, nothing lost."""

from typing import Any

import msgspec
import numpy as np
import pytest

from loopmargin_service.questions import sweep, sweep_cases, sweep_plan
from loopmargin_service.questions.refusals import Refusal
from loopmargin_wire.sweep import MOST_CASES, PackedBlock, SweepQuestion
from tests.unit.questions.swept import BORE, DRAWS, FANS, ROOM, asked, machine, radiators


def whole(question: SweepQuestion) -> PackedBlock:
    """Solve all cases at once."""
    return sweep.opened(sweep.chunk(question, 0, sweep_plan.plan(question).cases))


@pytest.mark.parametrize("size", [1, 3, 5, 7])
@pytest.mark.parametrize("drawn", [{}, {"draws": DRAWS}], ids=["plain", "drawn"])
def test_any_division_gives_the_same_bytes(size: int, drawn: dict[str, int]) -> None:
    """Structural axes inside, refused values, settled and drawn cases alike."""
    question = asked(FANS, radiators(), ROOM, **drawn)
    one = sweep.chunk(question, 0, 24)
    parts = [
        sweep.opened(sweep.chunk(question, first, min(first + size, 24)))
        for first in range(0, 24, size)
    ]

    assert sweep.joined(parts) == one


def test_a_cut_and_the_spelling_say_the_same() -> None:
    """Some cases, in binary and in words."""
    question = asked(FANS, ROOM)
    block = whole(question)
    part = sweep.cut(block, 4, 9)
    words = sweep.spelled(part)

    assert part == sweep.opened(sweep.chunk(question, 4, 9))
    assert words.first_case == 4
    assert words.status == tuple(sweep_cases.STATUSES[one] for one in part.status)
    assert words.status[1] == "refused"
    assert words.columns[0][1] is None
    assert words.columns[0][0] == np.frombuffer(part.columns[0], "<f8")[0]
    assert [fault.case for fault in words.faults] == [5, 8]
    assert words.faults[0].reason.startswith("room/air_c at 99")


def test_the_whole_answer_says_the_same() -> None:
    """As columns by name."""
    question = asked(FANS, BORE)
    state = sweep.answer(question).state
    words = sweep.spelled(whole(question))

    assert state.status == words.status
    assert state.holds == words.holds
    assert tuple(column.values for column in state.columns) == words.columns
    assert [column.name for column in state.columns[-2:]] == ["iterations", "last_movement"]


def test_another_element_is_the_machine_with_that_element() -> None:
    """A smaller radiator cools less; each is what a machine built with it says."""
    axis = radiators()
    state = sweep.answer(asked(axis)).state
    alone = []
    for element in axis["elements"]:
        changed = machine()
        changed["branches"][0]["elements"][int(axis["pointer"].rpartition("/")[2])] = element
        lone = {"machine": changed, "axes": [{**FANS, "values": [1.0]}]}
        alone.append(sweep.answer(msgspec.convert(lone, SweepQuestion)).state.columns[0].values[0])

    assert state.columns[0].values == tuple(alone)
    assert alone[1] > alone[0]


def test_settings_turn_what_another_axis_puts_in() -> None:
    """A factor acts on the element's own speed; what it does not have is refused."""
    axis = radiators()
    tube = {"kind": "tube", "name": "instead", "bore_mm": 10.0, "length_mm": 100.0}
    second = {**axis["elements"][0], "name": "second"}
    both = {**axis, "elements": [second, tube]}
    field = {"kind": "field", "pointer": f"{axis['pointer']}/fans/speed_rpm", "values": [900.0]}
    scaled = sweep.spelled(whole(asked({**axis, "elements": [second]}, FANS)))

    assert scaled.columns == sweep.spelled(whole(asked(FANS))).columns
    assert sweep.answer(asked(both, field)).state.status == ("settled", "refused")


def test_a_field_that_an_element_lacks_is_refused_by_name() -> None:
    """Where the machine still has a radiator elsewhere."""
    axis = radiators()
    block = next(e for e in machine()["branches"][0]["elements"] if e["kind"] == "block")
    place = machine()["branches"][0]["elements"].index(block)
    tube = {"kind": "tube", "name": "instead", "bore_mm": 10.0, "length_mm": 100.0}
    put = {**axis, "pointer": f"/branches/0/elements/{place}", "elements": [block, tube]}
    power = {"kind": "field", "pointer": f"/branches/0/elements/{place}/power_w", "values": [90.0]}
    state = sweep.answer(asked(put, power)).state

    assert state.status == ("settled", "refused")
    assert "has no such field" in state.faults[0].reason


def test_parts_have_a_column_where_any_machine_has_one() -> None:
    """A block that another element replaces, and one that stands in the place of a tube."""
    elements = machine()["branches"][0]["elements"]
    place = next(n for n, element in enumerate(elements) if element["kind"] == "block")
    tube, block = elements[0], elements[place]
    extra = {**block, "name": "extra", "power_w": 20.0}
    axes = (
        {"kind": "alternative", "pointer": "/branches/0/elements/0", "elements": [tube, extra]},
        {
            "kind": "alternative",
            "pointer": f"/branches/0/elements/{place}",
            "elements": [block, tube],
        },
    )
    state = sweep.answer(asked(*axes)).state
    parts = {c.name: c.values for c in state.columns if c.name.startswith("part ")}
    first, second, third = parts.values()

    assert list(parts) == ["part extra 1", f"part {block['name']} 2", list(parts)[2]]
    assert [value is None for value in first] == [True, True, False, False]
    assert [value is None for value in second] == [False, True, False, True]
    assert None not in third


def test_a_lost_case_has_no_numbers_and_a_reason() -> None:
    """It stands in its place."""
    question = asked(FANS)
    words = sweep.spelled(sweep.opened(sweep.lost(question, 2)))

    assert words.first_case == 2
    assert words.status == ("worker_lost",)
    assert words.holds == (False,)
    assert all(column == (None,) for column in words.columns)
    assert "died" in words.faults[0].reason


def test_faults_are_told_a_bounded_number_of_times() -> None:
    """The statuses still say it of every case."""
    values = [float(value) for value in range(200, 400)]
    question = asked({**ROOM, "values": values})
    block = whole(question)

    assert len(block.faults) == sweep_cases.MOST_FAULTS
    assert block.status == bytes([sweep_cases.REFUSED]) * 200


def test_a_machine_that_is_refused_leaves_its_cases_refused() -> None:
    """The others have numbers."""
    words = sweep.spelled(whole(asked({**BORE, "values": [10.0, 5000.0]}, FANS)))

    assert words.status[:4] != ("refused",) * 4
    assert words.status[4:] == ("refused",) * 4


def test_the_head_says_what_the_blocks_hold() -> None:
    """Under a digest of its own; the same cases are the same question."""
    question = asked(FANS, ROOM, first_case=3, case_limit=50)
    head = sweep.head(question, "name")

    assert (head.shape, head.cases, head.first_case) == ((4, 3), 12, 3)
    assert [column.name for column in head.columns][:4] == [
        "coolant_hottest",
        "coolant_mean",
        "flow",
        "case_air",
    ]
    assert sweep.same_cases(question) == sweep.same_cases(asked(FANS, ROOM))
    assert sweep.same_cases(question).case_limit == MOST_CASES


def test_the_end_counts() -> None:
    """Every case by its status."""
    end = sweep.end([5, 1, 0, 2, 1], holding=4)

    assert (end.cases_sent, end.settled, end.worker_lost, end.holding) == (9, 5, 1, 4)


def long_axes() -> list[dict[str, Any]]:
    """Write axes of more cases than a whole answer holds."""
    values = [0.5 + 0.001 * step for step in range(200)]
    return [{**FANS, "values": values}, {**FANS, "of": "pump_speeds", "values": values}]


def without_blocks() -> SweepQuestion:
    """Ask for other powers of a machine that has no parts to power."""
    bare = machine()
    elements = bare["branches"][0]["elements"]
    bare["branches"][0]["elements"] = [each for each in elements if each["kind"] != "block"]
    powers = {"kind": "factor", "of": "part_powers", "values": [1.0, 2.0]}
    return msgspec.convert({"machine": bare, "axes": [powers]}, SweepQuestion)


@pytest.mark.parametrize(
    ("question", "place", "words"),
    [
        (asked(*long_axes(), case_limit=MOST_CASES), "axes", "Accept: application/x-ndjson"),
        (asked(*long_axes()), "axes", "more than the 20000 of case_limit"),
        (asked(FANS, first_case=1), "first_case", "begins with case 0"),
        (asked(FANS, first_case=5), "first_case", "make 4 cases"),
        (asked({**radiators(), "pointer": "/pumps/0"}), "axes", "no element"),
        (asked({**radiators(), "pointer": "/branches/0/elements/99"}), "axes", "no element"),
        (asked({**radiators(), "pointer": "/branches/9/elements/0"}), "axes", "no element"),
        (
            asked(BORE, {**radiators(), "pointer": "/branches/0/elements/0"}),
            "axes",
            "two axes change /branches/0/elements/0/bore_mm",
        ),
        (
            asked({**BORE, "values": [8.0 + 0.001 * number for number in range(320)]}),
            "axes",
            "takes 6400 builds here and may take 6000",
        ),
        (without_blocks(), "axes", "this machine has no part powers"),
    ],
)
def test_what_cannot_be_is_refused_by_name(question: SweepQuestion, place: str, words: str) -> None:
    """The field, the limit and what to try."""
    with pytest.raises(Refusal) as refused:
        sweep.answer(question)

    assert refused.value.faults[0].path[0] == place
    assert words in refused.value.faults[0].detail


def test_a_lost_case_is_not_stored() -> None:
    """Solved cases come out the same again; whether a case was lost depends on where it was."""
    assert sweep.repeatable(sweep.opened(sweep.chunk(asked(FANS), 0, 4)))
    assert not sweep.repeatable(sweep.opened(sweep.lost(asked(FANS), 2)))
