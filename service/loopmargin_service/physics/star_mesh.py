"""Pressures at the nodes of a network of conductances, one node taken out after the other.

Taking a node out joins its neighbours by the products of its conductances over their sum, and
hands them what flows in at it in proportion: the star-mesh transform. Only positive numbers
are added, so nothing cancels, and a chain of links costs a few operations for each.

Everything is one operation on all cases at once; no case sees another.

References
----------
.. [1] L. Versfeld, "Remarks on star-mesh transformation of electrical networks," Electronics
       Letters, vol. 6, no. 19, pp. 597-599, 1970. doi:10.1049/el:19700417 (from memory).
"""

from collections.abc import Sequence
from functools import reduce
from itertools import combinations
from typing import NamedTuple, TypeVar

import numpy as np

from loopmargin_service.physics.rows import Array

Pair = tuple[int, int]
Key = TypeVar("Key", int, Pair)


class Removal(NamedTuple):
    """A node to take out, the nodes it is joined to by then, and whether to the reference too."""

    node: int
    neighbours: tuple[int, ...]
    grounded: bool


class Plan(NamedTuple):
    """Which links join each pair of nodes, which end and begin at each node, and their order.

    The first of each list is told apart from those added to it; the reference has no lists.
    """

    reference: int
    joined: tuple[tuple[Pair, tuple[int, ...]], ...]
    ending: tuple[tuple[int, tuple[int, ...]], ...]
    beginning: tuple[tuple[int, tuple[int, ...]], ...]
    removals: tuple[Removal, ...]


def plan(node_count: int, ends: Sequence[Pair], reference: int) -> Plan:
    """
    Order the nodes so that each has few neighbours when it is taken out.

    Parameters
    ----------
    node_count : int
        Nodes, all joined by the links. [-]
    ends : sequence of (int, int)
        Nodes at the tail and the head of each link. [-]
    reference : int
        The node that stays. [-]

    Returns
    -------
    Plan
        For `node_pressures`. [-]
    """
    beside: list[set[int]] = [set() for _ in range(node_count)]
    joined: dict[Pair, list[int]] = {}
    ending: dict[int, list[int]] = {}
    beginning: dict[int, list[int]] = {}
    for link, (tail, head) in enumerate(ends):
        if tail == head:
            continue
        beside[tail].add(head)
        beside[head].add(tail)
        joined.setdefault(_pair(tail, head), []).append(link)
        ending.setdefault(head, []).append(link)
        beginning.setdefault(tail, []).append(link)
    for lists in (ending, beginning):
        lists.pop(reference, None)
    left, removals = set(range(node_count)) - {reference}, []
    while left:
        node = min(left, key=lambda one: (len(beside[one]), one))
        others = beside[node] - {reference}
        removals.append(Removal(node, tuple(sorted(others)), reference in beside[node]))
        for one in beside[node]:
            beside[one] = (beside[one] | beside[node]) - {one, node}
        left.remove(node)
    return Plan(reference, _frozen(joined), _frozen(ending), _frozen(beginning), tuple(removals))


def _frozen(lists: dict[Key, list[int]]) -> tuple[tuple[Key, tuple[int, ...]], ...]:
    return tuple((key, tuple(links)) for key, links in lists.items())


def node_pressures(plan: Plan, conductance: Array, source: Array) -> Array:
    """
    Pressures at which as much flows into every node as out of it.

    Parameters
    ----------
    plan : Plan
        Links and the order of the nodes. [-]
    conductance : ndarray
        Flow over pressure difference of each link, above zero, (links, batch). [kg/(s Pa)]
    source : ndarray
        Flow of each link from tail to head without any pressure, (links, batch). [kg/s]

    Returns
    -------
    ndarray
        Pressures, (nodes, batch), zero at the reference. [Pa]

    Notes
    -----
    The digits of a case do not depend on the other cases.
    """
    joined, inflow = _gathered(plan, conductance, source)
    taken = [_take_out(plan.reference, removal, joined, inflow) for removal in plan.removals]
    pressure = np.zeros((len(plan.removals) + 1, conductance.shape[1]))
    for (node, neighbours, _), (total, shares) in zip(
        reversed(plan.removals), reversed(taken), strict=True
    ):
        np.divide(inflow[node], total, out=pressure[node])
        for one, share in zip(neighbours, shares, strict=True):
            pressure[node] += share * pressure[one]
    return pressure


def _gathered(
    plan: Plan, conductance: Array, source: Array
) -> tuple[dict[Pair, Array], dict[int, Array]]:
    """Add up the links between each pair of nodes, and what they bring to each node."""
    joined = {pair: _sum(conductance, links) for pair, links in plan.joined}
    inflow = {node: _sum(source, links) for node, links in plan.ending}
    for node, links in plan.beginning:
        outflow = _sum(source, links)
        inflow[node] = inflow[node] - outflow if node in inflow else -outflow
    return joined, inflow


def _sum(rows: Array, links: tuple[int, ...]) -> Array:
    """Add up some rows, one after the other."""
    total: Array = rows[links[0]]
    for link in links[1:]:
        total = total + rows[link]
    return total


def _take_out(
    reference: int, removal: Removal, joined: dict[Pair, Array], inflow: dict[int, Array]
) -> tuple[Array, list[Array]]:
    """Join the neighbours of a node to each other; give its conductance and their shares of it."""
    node, neighbours, grounded = removal
    around = [joined[_pair(node, one)] for one in neighbours]
    ground = [joined[_pair(node, reference)]] if grounded else []
    total = reduce(np.add, around + ground)
    if not neighbours:
        return total, []
    shares = [conductance / total for conductance in around]
    for one, share in zip(neighbours, shares, strict=True):
        _add(inflow, one, inflow[node] * share)
        for conductance in ground:
            _add(joined, _pair(one, reference), conductance * share)
    for first, second in combinations(range(len(neighbours)), 2):
        pair = _pair(neighbours[first], neighbours[second])
        _add(joined, pair, around[first] * shares[second])
    return total, shares


def _pair(one: int, other: int) -> Pair:
    return (one, other) if one < other else (other, one)


def _add(table: dict[Key, Array], key: Key, value: Array) -> None:
    table[key] = table[key] + value if key in table else value
