"""Some cases of a batch: taken out of nested tuples of arrays, put back, repeated until settled."""

from collections.abc import Callable, Iterator, Sequence
from typing import Protocol, Self, TypeVar, cast

import numpy as np
from numpy.typing import NDArray

from loopmargin_service.physics.rows import Array, Index

# Numbers in an array of which a few stay near the processor, while calls still cost little.
TILE = 4096

T = TypeVar("T")


class Divisible(Protocol):
    """What is given to each case, of which some cases can be taken."""

    def cases(self, chosen: Index) -> Self:
        """Give the same for some cases alone."""


class Settling(Protocol):
    """A nest of tuples of arrays that all end in the batch axis; it knows which cases are done."""

    @property
    def converged(self) -> NDArray[np.bool_]:
        """Which cases need no further repetition, (batch,). [-]"""


G = TypeVar("G", bound=Divisible)
S = TypeVar("S", bound=Settling)


def cases_of(whole: T, cases: Index) -> T:
    """
    Give some cases of a nest of tuples of arrays that all end in the batch axis.

    Parameters
    ----------
    whole : Setting, Equilibrium or a part of one
        Arrays of shape (…, batch), nested in tuples; plain numbers are for every case. [SI]
    cases : ndarray of int
        Which cases. [-]

    Returns
    -------
    the type of *whole*
        The same nest with those cases alone. [SI]

    Notes
    -----
    What is no array is left as it is.
    """
    if isinstance(whole, np.ndarray):
        return cast("T", whole.take(cases, axis=-1))
    if isinstance(whole, tuple):
        return _like(whole, [cases_of(part, cases) for part in whole])
    return whole


def some_cases(rows: Array, cases: Index) -> Array:
    """
    Give some cases of rows that may stand for every case.

    Parameters
    ----------
    rows : ndarray
        Values, (rows, batch), or (rows, 1) for all cases. [any unit]
    cases : ndarray of int
        Which cases. [-]

    Returns
    -------
    ndarray
        Values, (rows, cases), or *rows* if they stand for all. [the unit of *rows*]
    """
    return rows if rows.shape[-1] == 1 else rows.take(cases, axis=-1)


def tiles(rows: int, cases: int) -> Iterator[slice]:
    """
    Cut a batch so that a few arrays of so many rows stay in the processor's nearest cache.

    Parameters
    ----------
    rows, cases : int
        Shape of the arrays. [-]

    Yields
    ------
    slice
        Cases to work on together; none without rows. [-]

    Notes
    -----
    Worth it where some tens of operations follow each other on the same arrays.
    """
    if rows:
        width = max(TILE // rows, 1)
        for start in range(0, cases, width):
            yield slice(start, start + width)


def put_cases(whole: T, part: T, cases: Index) -> None:
    """
    Put some cases back among all, in place.

    Parameters
    ----------
    whole : Equilibrium or a part of one
        Arrays of shape (…, batch), nested in tuples. [SI]
    part : the type of *whole*
        The same nest with some cases alone. [SI]
    cases : ndarray of int
        Which cases those are. [-]

    Notes
    -----
    What is no array is left as it is.
    """
    if isinstance(whole, np.ndarray):
        whole[..., cases] = part
    elif isinstance(whole, tuple) and isinstance(part, tuple):
        for old, new in zip(whole, part, strict=True):
            put_cases(old, new, cases)


def joined(parts: Sequence[T]) -> T:
    """
    Put nests of tuples of arrays that all end in the batch axis one after another.

    Parameters
    ----------
    parts : sequence of Setting, Equilibrium or a part of one
        Nests of one type, arrays of shape (…, batch) with a batch of each its own. [SI]

    Returns
    -------
    the type of each part
        One nest with all cases in their order. [SI]

    Notes
    -----
    What is no array is taken from the first part, so it must stand for the cases of all.
    """
    first = parts[0]
    if isinstance(first, np.ndarray):
        return cast("T", np.concatenate(cast("Sequence[Array]", parts), axis=-1))
    if isinstance(first, tuple):
        nests = cast("Sequence[tuple[object, ...]]", parts)
        return _like(first, [joined(rows) for rows in zip(*nests, strict=True)])
    return first


def repeat_until_settled(step: Callable[[G, S], S], given: G, state: S, limit: int) -> S:
    """
    Repeat a step on every case until that case has converged, and no longer.

    Parameters
    ----------
    step : callable
        Takes what is given and the state; gives the next state, each case by itself. [SI]
    given : Setting, Law
        What does not change from step to step; some cases can be taken of it. [SI]
    state : Equilibrium, Iteration
        Where to begin; its `converged` says which cases are done. [SI]
    limit : int
        Most repetitions. [-]

    Returns
    -------
    the type of *state*
        Every case as its own last step left it. [SI]

    Notes
    -----
    Cases that are done are set aside, so that they cost nothing and no neighbour moves them:
    the digits of a case are the same alone and in any batch.
    """
    places = np.arange(state.converged.size)
    if not places.size:
        return state
    whole: S | None = None
    for _ in range(limit):
        state = step(given, state)
        moving = (~state.converged).nonzero()[0]
        if moving.size == places.size:
            continue
        whole = _kept(whole, state, places)
        if not moving.size:
            return whole
        given, state, places = given.cases(moving), cases_of(state, moving), places[moving]
    return _kept(whole, state, places)


def _kept(whole: S | None, state: S, places: Index) -> S:
    """Put the cases in their places, the first time by taking them all."""
    if whole is None:
        return state
    put_cases(whole, state, places)
    return whole


def _like(shape: T, parts: list[object]) -> T:
    """Build a tuple of the same type from new parts."""
    kind = type(shape)
    return cast("T", kind(*parts) if hasattr(shape, "_fields") else tuple(parts))
