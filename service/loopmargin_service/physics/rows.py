"""Sums over the rows of a batch, in one order whatever the batch.

The library adds in another order when the batch is a single case, and a matrix product in one
that depends on its shape, so that a case would end in other digits than among its neighbours.
"""

from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Index = NDArray[np.intp]


# From this many cases on a loop over the rows is quicker than the library's.
MANY = 100


def accumulate(operation: np.ufunc, rows: Array) -> Array:
    """
    Add up or multiply up rows from the first on, in place.

    Parameters
    ----------
    operation : ufunc
        `numpy.add` or `numpy.multiply`. [-]
    rows : ndarray
        Terms, (rows, …). [any unit]

    Returns
    -------
    ndarray
        *rows*, each replaced by the result up to it. [any unit]
    """
    if rows[:1].size < MANY:
        return np.asarray(operation.accumulate(rows, axis=0, out=rows))
    for before, row in pairwise(rows):
        operation(before, row, out=row)
    return rows


def row_sum(rows: Array) -> Array:
    """
    Add up rows one after the other.

    Parameters
    ----------
    rows : ndarray
        Summands, (rows, …, batch), in the order of memory. [any unit]

    Returns
    -------
    ndarray
        Sums, (…, batch). [the unit of *rows*]

    Notes
    -----
    Every case has the same digits in a batch of any size.
    """
    if rows.shape[0] == 1:
        return np.asarray(rows[0])
    if rows.size == rows.shape[0]:
        return np.asarray(np.add.accumulate(rows, axis=0)[-1])
    return np.asarray(np.add.reduce(rows, axis=0))


def row_max(rows: Array) -> Array:
    """
    Largest of all rows.

    Parameters
    ----------
    rows : ndarray
        Values, (rows, batch). [any unit]

    Returns
    -------
    ndarray
        Largest values, (batch,). [the unit of *rows*]

    Notes
    -----
    As the method of the array, without what that costs a small one.
    """
    return np.asarray(np.maximum.reduce(rows, axis=0))


def row_mean(rows: Array) -> Array:
    """
    Mean over rows, added up by `row_sum`.

    Parameters
    ----------
    rows : ndarray
        Values, (rows, batch). [any unit]

    Returns
    -------
    ndarray
        Means, (batch,). [the unit of *rows*]
    """
    return np.asarray(row_sum(rows) / rows.shape[0])


@dataclass(frozen=True)
class Grouping:
    """Which of so many groups each row belongs to."""

    group: Index
    count: int

    @cached_property
    def members(self) -> tuple[tuple[int, slice | Index], ...]:
        """Give the rows of each group that has any, as a slice where they stand together."""
        found: dict[int, list[int]] = {}
        for row, group in enumerate(self.group.tolist()):
            found.setdefault(group, []).append(row)
        return tuple((group, _span(rows)) for group, rows in found.items())

    def add(self, rows: Array, totals: Array) -> None:
        """Add rows to the totals of their groups, (groups, batch), in place. [any unit]"""
        for group, members in self.members:
            totals[group] += row_sum(rows[members])

    def spread(self, values: Array) -> Array:
        """Give each row the value of its group, or one row if all are in one. [any unit]"""
        if len(self.members) == 1:
            group = self.members[0][0]
            return values[group : group + 1]
        return np.asarray(values[self.group])

    def total(self, rows: Array) -> Array:
        """Add up the rows of each group, (groups, batch). [any unit]"""
        totals = np.zeros((self.count, rows.shape[-1]))
        self.add(rows, totals)
        return totals


def _span(rows: list[int]) -> slice | Index:
    """Give rows as a slice if they stand together."""
    together = rows[-1] - rows[0] + 1 == len(rows)
    return slice(rows[0], rows[-1] + 1) if together else np.array(rows, dtype=np.intp)
