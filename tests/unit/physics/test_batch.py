"""Batches: cases taken out of nested tuples, put back, and repeated until they are done."""

from typing import NamedTuple

import numpy as np
import pytest
from numpy.typing import NDArray

from loopmargin_service.physics.batch import (
    TILE,
    cases_of,
    joined,
    put_cases,
    repeat_until_settled,
    some_cases,
    tiles,
)
from loopmargin_service.physics.rows import Array, Index


class Inner(NamedTuple):
    """One row of arrays and a plain number."""

    rows: Array
    factor: float


class Outer(NamedTuple):
    """An array of the batch alone, a named tuple, a plain tuple and a count."""

    single: Array
    inner: Inner
    several: tuple[Array, ...]
    repetitions: int


def nest(repetitions: int = 3) -> Outer:
    """Give four cases that can be told apart in every array."""
    number = np.arange(4.0)
    rows = np.stack([number, 10.0 + number])
    return Outer(number, Inner(20.0 + rows, 0.5), (30.0 + number, 40.0 + rows), repetitions)


def test_cases_come_out_in_the_order_asked_for() -> None:
    """Every array keeps its rows and gives the chosen cases; numbers stay."""
    some = cases_of(nest(), np.array([3, 1, 1]))

    assert type(some) is Outer
    assert type(some.inner) is Inner
    assert some.single.tolist() == [3.0, 1.0, 1.0]
    assert some.inner.rows.tolist() == [[23.0, 21.0, 21.0], [33.0, 31.0, 31.0]]
    assert some.several[1].tolist() == [[43.0, 41.0, 41.0], [53.0, 51.0, 51.0]]
    assert (some.inner.factor, some.repetitions) == (0.5, 3)


def test_cases_go_back_where_they_came_from() -> None:
    """Changed cases replace their own places; the others, numbers and what was taken stay."""
    whole, chosen = nest(), np.array([3, 0])
    part = cases_of(whole, chosen)
    changed = part._replace(
        single=part.single + 100.0, inner=Inner(-part.inner.rows, 0.7), repetitions=9
    )

    put_cases(whole, changed, chosen)

    assert whole.single.tolist() == [100.0, 1.0, 2.0, 103.0]
    assert whole.inner.rows[0].tolist() == [-20.0, 21.0, 22.0, -23.0]
    assert whole.several[1].tolist() == nest().several[1].tolist()
    assert (whole.inner.factor, whole.repetitions) == (0.5, 3)
    assert part.single.tolist() == [3.0, 0.0]


def test_out_and_back_changes_nothing() -> None:
    """Cases put back unchanged leave the nest as it was."""
    whole, chosen = nest(), np.array([2, 1])

    put_cases(whole, cases_of(whole, chosen), chosen)

    for expected, actual in zip(nest().several, whole.several, strict=True):
        np.testing.assert_array_equal(actual, expected)
    np.testing.assert_array_equal(whole.inner.rows, nest().inner.rows)


def test_parts_put_one_after_another_are_the_whole() -> None:
    """Two halves join to what they were cut from; numbers are those of the first."""
    whole = nest()
    front = cases_of(whole, np.array([0, 1]))
    back = cases_of(whole._replace(repetitions=8), np.array([2, 3]))

    again = joined([front, back])

    assert type(again) is Outer
    assert type(again.inner) is Inner
    assert again.single.tolist() == whole.single.tolist()
    np.testing.assert_array_equal(again.inner.rows, whole.inner.rows)
    np.testing.assert_array_equal(again.several[1], whole.several[1])
    assert (again.inner.factor, again.repetitions) == (0.5, 3)


def test_rows_for_all_cases_stay_rows_for_all() -> None:
    """Of rows with one column for every case, some cases are that column."""
    assert some_cases(np.array([[1.0], [2.0]]), np.array([4, 5])).tolist() == [[1.0], [2.0]]
    assert some_cases(np.array([[1.0, 2.0]]), np.array([1, 1])).tolist() == [[2.0, 2.0]]


class Countdown(NamedTuple):
    """Cases that are done after so many steps, each with a trace of the steps it took."""

    left: Array
    trace: Array

    @property
    def converged(self) -> NDArray[np.bool_]:
        """Say which cases are at zero."""
        return self.left <= 0.0


class Pace(NamedTuple):
    """How much a step takes off each case."""

    amount: Array

    def cases(self, chosen: Index) -> "Pace":
        """Give some cases."""
        return cases_of(self, chosen)


def count(pace: Pace, state: Countdown) -> Countdown:
    """Take one step."""
    return Countdown(state.left - pace.amount, state.trace + np.array([[1.0], [10.0]]))


@pytest.mark.parametrize("limit", [3, 4, 9])
def test_each_case_takes_its_own_steps_and_no_more(limit: int) -> None:
    """Cases leave when they are done, several at once or alone, or stop at the limit."""
    begin = Countdown(np.array([3.0, 1.0, 8.0, 2.0, 1.0]), np.zeros((2, 5)))
    pace = Pace(np.array([1.0, 1.0, 2.0, 1.0, 1.0]))

    end = repeat_until_settled(count, pace, begin, limit)

    steps = np.minimum([3.0, 1.0, 4.0, 2.0, 1.0], limit)
    assert end.trace.tolist() == [steps.tolist(), (10.0 * steps).tolist()]
    assert end.converged.tolist() == [True, True, limit > 3, True, True]
    assert begin.left.tolist() == [3.0, 1.0, 8.0, 2.0, 1.0]


def test_cases_that_end_together_are_never_parted() -> None:
    """Where all cases take as many steps, the last state is given as it is."""
    begin = Countdown(np.array([2.0, 2.0]), np.zeros((2, 2)))

    end = repeat_until_settled(count, Pace(np.ones(2)), begin, 5)

    assert end.trace[0].tolist() == [2.0, 2.0]


def test_no_case_needs_no_step() -> None:
    """An empty batch is done."""
    begin = Countdown(np.zeros(0), np.zeros((2, 0)))

    assert repeat_until_settled(count, Pace(np.zeros(0)), begin, 5) is begin


def test_tiles_cover_the_batch() -> None:
    """Tiles are as wide as a few rows leave room for, and none is cut for no rows."""
    widths = [[here.stop - here.start for here in tiles(rows, 5000)] for rows in (1, 4, 9999)]

    assert widths[0] == [TILE, TILE]
    assert set(widths[1]) == {TILE // 4}
    assert set(widths[2]) == {1}
    assert list(tiles(0, 5000)) == []
