"""Batches: cases taken out of nested tuples, and put back."""

from typing import NamedTuple

import numpy as np

from loopmargin_service.physics.batch import cases_of, put_cases
from loopmargin_service.physics.network import Array


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
    """Changed cases replace their own places, the others and the original stay."""
    whole, chosen = nest(), np.array([3, 0])
    part = cases_of(whole, chosen)
    changed = part._replace(
        single=part.single + 100.0,
        inner=Inner(-part.inner.rows, 0.7),
        several=part.several,
        repetitions=9,
    )

    merged = put_cases(whole, changed, chosen)

    assert type(merged) is Outer
    assert merged.single.tolist() == [100.0, 1.0, 2.0, 103.0]
    assert merged.inner.rows[0].tolist() == [-20.0, 21.0, 22.0, -23.0]
    assert (merged.inner.factor, merged.repetitions) == (0.7, 9)
    assert whole.single.tolist() == [0.0, 1.0, 2.0, 3.0]


def test_out_and_back_changes_nothing() -> None:
    """Cases put back unchanged leave the nest as it was."""
    whole, chosen = nest(), np.array([2, 1])

    merged = put_cases(whole, cases_of(whole, chosen), chosen)

    for expected, actual in zip(whole.several, merged.several, strict=True):
        np.testing.assert_array_equal(actual, expected)
    np.testing.assert_array_equal(merged.inner.rows, whole.inner.rows)
