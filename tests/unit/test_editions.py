"""The numbers of the edition that the code states are those that were recorded for it."""

import pytest

from loopmargin_service.questions.edition import EDITION
from tests.editions.compare import Change, changes, missing, same, summaries
from tests.editions.corpus import corpus
from tests.editions.record import Record, answers, editions, leaves, read

BEFORE: Record = {
    "a: one": {"/x": 1.0, "/v": "meets", "/n/(p)/y": 2.0, "/n/1/y": 4.0, "/gone": 1.0}
}
AFTER: Record = {"a: one": {"/x": 1.0 + 1e-12, "/v": "tight", "/n/(p)/y": 2.2, "/n/1/y": 5.0}}


def test_the_edition_is_recorded() -> None:
    """It is the newest one."""
    assert editions()[-1] == EDITION


def test_every_answer_of_the_corpus_is_that_of_the_recorded_edition() -> None:
    """Our own digits, as a regression: whoever changes them says so by a new edition.

    See what changed by `make numbers`; then raise EDITION, write CHANGELOG *numbers*, and record
    by `make numbers-record`.
    """
    now = dict(answers())
    recorded = read(EDITION)

    assert list(changes(recorded, now)) == []
    assert missing(recorded, now) == []
    assert now.keys() == recorded.keys() == {entry.name for entry in corpus()}


def test_the_corpus_holds_every_question() -> None:
    """And its names tell them apart."""
    names = [entry.name for entry in corpus()]

    assert len(names) == len(set(names)) >= 25


def test_changes_are_told_by_pointer() -> None:
    """Round-off is none; words are told apart from numbers; what is gone is named."""
    found = list(changes(BEFORE, AFTER))

    assert [(change.pointer, change.turned) for change in found] == [
        ("/n/(p)/y", False),
        ("/n/1/y", False),
        ("/v", True),
    ]
    assert missing(BEFORE, AFTER) == ["a: one /gone"]


def test_a_field_is_summed_up_by_its_largest_change() -> None:
    """Over all places of a list."""
    (row,) = summaries(list(changes(BEFORE, AFTER)))

    assert (row.route, row.field, row.count) == ("a", "/n/y", 2)
    assert row.largest.after == 5.0
    assert row.largest.relative == pytest.approx(0.2)
    assert row.largest.absolute == 1.0


@pytest.mark.parametrize(
    ("before", "after", "expected"),
    [
        (1.0, 1.0 + 1e-12, True),
        (1.0, 1.0 + 1e-6, False),
        (0.0, 1e-12, True),
        (None, 1.0, False),
        ("meets", "meets", True),
        (True, False, False),
        (2, 2.0, True),
    ],
)
def test_what_is_the_same(before: object, after: object, *, expected: bool) -> None:
    """Numbers within round-off, words to the letter."""
    assert same(before, after) is expected  # type: ignore[arg-type]


def test_long_lists_are_sampled_and_texts_left_out() -> None:
    """The ends are always kept."""
    long = {"values": list(range(100)), "question": 1, "name": "x"}
    found = dict(leaves([long, {"name": "y", "z": 2}], ""))

    assert "/(x)/values/0" in found
    assert "/(x)/values/99" in found
    assert found["/(y)/z"] == 2
    assert len([pointer for pointer in found if "values" in pointer]) == 12
    assert not any("question" in pointer for pointer in found)


def test_words_have_no_size() -> None:
    """A turned verdict is told as words."""
    change = Change("a: one", "/v", "meets", "tight")

    assert (change.absolute, change.relative) == (0.0, 0.0)
