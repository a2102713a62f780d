"""Some cases of a batch: taken out of nested tuples of arrays, and put back."""

from typing import TypeVar, cast

import numpy as np

from loopmargin_service.physics.passage import Index

T = TypeVar("T")


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
        return cast("T", whole[..., cases])
    if isinstance(whole, tuple):
        return _like(whole, [cases_of(part, cases) for part in whole])
    return whole


def put_cases(whole: T, part: T, cases: Index) -> T:
    """
    Put some cases back among all.

    Parameters
    ----------
    whole : Equilibrium or a part of one
        Arrays of shape (…, batch), nested in tuples. [SI]
    part : the type of *whole*
        The same nest with some cases alone. [SI]
    cases : ndarray of int
        Which cases those are. [-]

    Returns
    -------
    the type of *whole*
        A copy with those cases replaced. [SI]

    Notes
    -----
    What is no array, such as a count of repetitions, is taken from *part*.
    """
    if isinstance(whole, np.ndarray):
        merged = whole.copy()
        merged[..., cases] = part
        return cast("T", merged)
    if isinstance(whole, tuple) and isinstance(part, tuple):
        pairs = zip(whole, part, strict=True)
        return _like(whole, [put_cases(old, new, cases) for old, new in pairs])
    return part


def _like(shape: T, parts: list[object]) -> T:
    """Build a tuple of the same type from new parts."""
    kind = type(shape)
    return cast("T", kind(*parts) if hasattr(shape, "_fields") else tuple(parts))
