"""Sums over rows: in place, one after the other, and by groups."""

import numpy as np
import pytest

from loopmargin_service.physics.rows import MANY, Grouping, accumulate, row_max, row_mean, row_sum

WIDTHS = pytest.mark.parametrize("width", [1, 3, MANY, 3 * MANY])


def rough(rows: int, width: int) -> np.ndarray:
    """Give numbers whose sum depends on the order of adding."""
    return (
        np.random.default_rng(5).uniform(0.5, 1.5, (rows, width)) * 10.0 ** np.arange(rows)[:, None]
    )


@WIDTHS
@pytest.mark.parametrize("operation", [np.add, np.multiply])
def test_rows_become_the_results_up_to_them(operation: np.ufunc, width: int) -> None:
    """In place and in order, as a plain loop over plain numbers has it."""
    rows = rough(6, width)
    expected = rows.copy()
    for number in range(1, 6):
        for case in range(width):
            expected[number, case] = operation(expected[number - 1, case], expected[number, case])

    found = accumulate(operation, rows)

    np.testing.assert_array_equal(found, expected)
    np.testing.assert_array_equal(rows, expected)


@WIDTHS
@pytest.mark.parametrize("count", [1, 2, 9, 33])
def test_sum_has_the_digits_of_adding_one_after_the_other(count: int, width: int) -> None:
    """In a batch of any size; so has the mean, and the largest is the largest."""
    rows = rough(count, width)
    total = rows[0].copy()
    for row in rows[1:]:
        total = total + row

    np.testing.assert_array_equal(row_sum(rows), total)
    np.testing.assert_array_equal(row_mean(rows), total / count)
    np.testing.assert_array_equal(row_max(rows), [max(column) for column in rows.T.tolist()])


def test_groups_are_added_up_and_spread() -> None:
    """Rows 0, 1 and 4 belong to group 2, rows 2 and 3 to group 0, none to group 1."""
    grouping = Grouping(np.array([2, 2, 0, 0, 2]), 3)
    rows = np.array([[1.0, 10.0], [2.0, 20.0], [3.0, 30.0], [4.0, 40.0], [5.0, 50.0]])

    assert grouping.total(rows).tolist() == [[7.0, 70.0], [0.0, 0.0], [8.0, 80.0]]
    totals = np.full((3, 2), 100.0)
    grouping.add(rows, totals)
    assert totals.tolist() == [[107.0, 170.0], [100.0, 100.0], [108.0, 180.0]]
    spread = grouping.spread(np.array([[1.0], [2.0], [3.0]]))
    assert spread.tolist() == [[3.0], [3.0], [1.0], [1.0], [3.0]]


def test_rows_that_stand_together_are_a_slice() -> None:
    """Only then is no copy made of them."""
    grouping = Grouping(np.array([2, 2, 0, 2, 1]), 3)

    members = dict(grouping.members)

    assert members[0] == slice(2, 3)
    assert members[1] == slice(4, 5)
    assert isinstance(members[2], np.ndarray)
    assert members[2].tolist() == [0, 1, 3]
    assert members[2].dtype == np.intp


def test_one_group_for_all_is_spread_as_one_row() -> None:
    """It broadcasts over all rows."""
    spread = Grouping(np.array([1, 1, 1]), 2).spread(np.array([[1.0, 2.0], [3.0, 4.0]]))
    assert spread.tolist() == [[3.0, 4.0]]
