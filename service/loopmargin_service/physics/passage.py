"""Tubes and fittings as passages: pressure drop against mass flow, and its slope.

Every tube and fitting has three numbers on the velocity in its own bore: a length in
diameters that multiplies the friction factor, a laminar coefficient that is divided by the
Reynolds number, and a constant. Arrays are (passages, batch).
"""

from dataclasses import dataclass
from functools import cached_property
from operator import add
from typing import NamedTuple

import numpy as np

from loopmargin_service.physics.coolant import Properties
from loopmargin_service.physics.pipe import friction_factor_and_exponent
from loopmargin_service.physics.rows import Array, Grouping, Index

# Below this a flow is zero for every purpose, but not to a division. [kg/s]
SMALLEST_FLOW = 1e-9


@dataclass(frozen=True)
class Passages:
    """Tubes and fittings; one entry of each array for each passage."""

    branch: Index
    bore: Array
    relative_roughness: Array
    friction_length: Array
    viscous: Array
    inertial: Array

    @cached_property
    def rubbing(self) -> Index:
        """Give the passages whose drop depends on the friction factor."""
        return np.flatnonzero(self.friction_length)


@dataclass(frozen=True)
class Folded:
    """Passages in which those that are alike stand as one.

    Of one branch, bore and roughness, with coolant of one state in them, passages add up.
    `member` says which of the folded ones each passage went into, `first` names one of each.
    """

    passages: Passages
    member: Index
    first: Index
    unfolded: Passages

    @cached_property
    def branches(self) -> tuple[Index, Index]:
        """Give the branch of each folded passage, and of those that rub alone."""
        return self.passages.branch, self.passages.branch[self.passages.rubbing]

    def friction(self, factor: Array | float) -> Array | float:
        """Give one factor on friction for each folded passage from those of its members. [-]"""
        if np.ndim(factor) < 2:  # noqa: PLR2004 - (batch,) or a number is for all passages
            return factor
        rubbing, ours = self.unfolded.rubbing, self.passages.rubbing
        length = self.unfolded.friction_length[rubbing, None]
        groups = Grouping(np.searchsorted(ours, self.member[rubbing]), ours.size)
        return groups.total(length * factor) / self.passages.friction_length[ours, None]


def folded(passages: Passages, state: Index) -> Folded:
    """
    Fold passages that are alike.

    Parameters
    ----------
    passages : Passages
        Tubes and fittings. [m and -]
    state : ndarray of int
        Passages of one number hold coolant of one state, (passages,). [-]

    Returns
    -------
    Folded
        As few passages as have the same pressure drop at any flow, to round-off. [m and -]

    Notes
    -----
    The terms of `passage_terms` are proportional to what is added up here.
    """
    columns = (passages.branch, passages.bore, passages.relative_roughness, state)
    keys = zip(*(column.tolist() for column in columns), strict=True)
    terms = zip(
        passages.friction_length.tolist(),
        passages.viscous.tolist(),
        passages.inertial.tolist(),
        strict=True,
    )
    number: dict[tuple[float, ...], int] = {}
    member: list[int] = []
    first: list[int] = []
    sums: list[tuple[float, ...]] = []
    for row, (key, added) in enumerate(zip(keys, terms, strict=True)):
        place = number.setdefault(key, len(number))
        member.append(place)
        if place == len(sums):
            first.append(row)
            sums.append(added)
        else:
            sums[place] = tuple(map(add, sums[place], added))
    once = np.array(first, dtype=np.intp)
    together = Passages(
        passages.branch[once],
        passages.bore[once],
        passages.relative_roughness[once],
        *np.array(sums, dtype=np.float64).reshape(-1, 3).T,
    )
    return Folded(together, np.array(member, dtype=np.intp), once, passages)


class PassageTerms(NamedTuple):
    """Terms of each passage in mass flow w: linear w + quadratic w^2 + weight f(Re) w^2.

    Units are [Pa s/kg], [Pa s2/kg2] and [Pa s2/kg2]; `reynolds_per_flow` is [s/kg].
    """

    linear: Array
    quadratic: Array
    weight: Array
    reynolds_per_flow: Array


def passage_terms(passages: Passages, liquid: Properties) -> PassageTerms:
    """
    Terms of each passage at the state of the coolant in it.

    Parameters
    ----------
    passages : Passages
        Geometry, one entry for each passage. [m and -]
    liquid : Properties
        Coolant in each passage, (passages, batch). [SI]

    Returns
    -------
    PassageTerms
        Each (passages, batch). [SI]

    Notes
    -----
    ``dp = (f(Re) L + K1/Re + K) rho v**2 / 2`` (Weisbach), written in mass flow so that
    the laminar term stays finite at rest.
    """
    bore = passages.bore[:, None]
    area = 0.25 * np.pi * bore * bore
    reynolds_per_flow = bore / (area * liquid.viscosity)
    dynamic = 0.5 / (liquid.density * area * area)
    return PassageTerms(
        dynamic * passages.viscous[:, None] / reynolds_per_flow,
        dynamic * passages.inertial[:, None],
        dynamic * passages.friction_length[:, None],
        reynolds_per_flow,
    )


def friction_drop(
    weight: Array, reynolds_per_flow: Array, relative_roughness: Array, flow: Array
) -> tuple[Array, Array]:
    """
    Part of the pressure drop that follows the friction factor, and its slope.

    Parameters
    ----------
    weight, reynolds_per_flow : ndarray
        As in `PassageTerms`, (passages, batch). [Pa s2/kg2 and s/kg]
    relative_roughness : ndarray
        Broadcast with *flow*. [-]
    flow : ndarray
        Mass flow of either sign, (passages, batch). [kg/s]

    Returns
    -------
    tuple of ndarray
        Pressure drop with the sign of the flow [Pa] and its slope [Pa s/kg].

    Notes
    -----
    Churchill's factor at all Reynolds numbers; see `pipe.friction_factor_and_exponent`.

    Validity
    --------
    As `pipe.friction_factor_and_exponent`, inside and outside.
    """
    size = np.maximum(np.abs(flow), SMALLEST_FLOW)
    factor, exponent = friction_factor_and_exponent(size * reynolds_per_flow, relative_roughness)
    per_flow = factor * (weight * size)
    return per_flow * flow, per_flow * (exponent + 2.0)


def passage_drop(passages: Passages, liquid: Properties, flow: Array) -> Array:
    """
    Pressure drop of each passage.

    Parameters
    ----------
    passages : Passages
        Geometry, one entry for each passage. [m and -]
    liquid : Properties
        Coolant in each passage, (passages, batch). [SI]
    flow : ndarray
        Mass flow through each passage, (passages, batch), of either sign. [kg/s]

    Returns
    -------
    ndarray
        Pressure drop with the sign of the flow. [Pa]

    Notes
    -----
    The sum of the terms of `passage_terms`, for all Reynolds numbers.

    Validity
    --------
    As `pipe.friction_factor_and_exponent`, inside and outside.
    """
    terms = passage_terms(passages, liquid)
    roughness = passages.relative_roughness[:, None]
    rubbed, _ = friction_drop(terms.weight, terms.reynolds_per_flow, roughness, flow)
    return np.asarray(flow * (terms.linear + terms.quadratic * np.abs(flow)) + rubbed)
