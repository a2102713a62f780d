"""How a sweep is laid out: its machines, its grid, and what each case has numbers of."""

import math
from collections.abc import Iterable
from functools import lru_cache
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from loopmargin_service.physics.machine import Setting
from loopmargin_service.questions import machine_build, parts, pipework, sweep_draws
from loopmargin_service.questions.machine_build import Built
from loopmargin_service.questions.sweep_axes import Change, changes, site_of
from loopmargin_wire.part import Reservoir
from loopmargin_wire.steady_state import HeatedBlock, SteadyStateQuestion
from loopmargin_wire.sweep import SweepQuestion

# Branch and element.
Site = tuple[int, int]
# Columns before those of the cooled parts, and after them.
MACHINE_COLUMNS = (
    ("coolant_hottest", "degC"),
    ("coolant_mean", "degC"),
    ("flow", "L/min"),
    ("case_air", "degC"),
)
SOLUTION_COLUMNS = (("iterations", "1"), ("last_movement", "K"))


class Plan(NamedTuple):
    """How a sweep is laid out: its axes, the grid they make, and the columns of every case.

    Cooled parts have a column for each of the `sites` where any of the machines has one. When
    cases are drawn, what the draws say follows in further columns.
    """

    axes: tuple[Change, ...]
    shape: tuple[int, ...]
    columns: tuple[tuple[str, str], ...]
    sites: tuple[Site, ...]
    drawn: bool

    @property
    def cases(self) -> int:
        """Count the cases."""
        return math.prod(self.shape)

    @property
    def solution(self) -> int:
        """Give the place of the first column that tells how a case was solved."""
        return len(MACHINE_COLUMNS) + len(self.sites)

    def places_of(self, own: Iterable[Site]) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
        """Give the columns of a machine of some parts: its states, and what draws say of them."""
        parts_at = [len(MACHINE_COLUMNS) + self.sites.index(site) for site in own]
        states = [*range(len(MACHINE_COLUMNS)), *parts_at]
        places = {column: place for place, column in enumerate(self.columns)}
        named = sweep_draws.columns([self.columns[place] for place in states])
        drawn = [places[column] for column in named if self.drawn]
        return np.array(states, dtype=np.intp), np.array(drawn, dtype=np.intp)

    @property
    def structural(self) -> tuple[int, ...]:
        """Give the numbers of the axes that change the machine itself."""
        return tuple(number for number, axis in enumerate(self.axes) if not axis.setting)


@lru_cache(maxsize=8)
def plan(question: SweepQuestion) -> Plan:
    """Lay out a sweep, with every refusal that it deserves."""
    found = changes(question)
    build(question.machine)
    named_parts = _parts(question.machine, found)
    states = MACHINE_COLUMNS + tuple(
        (f"part {name} {row + 1}", "degC") for row, name in enumerate(named_parts.values())
    )
    drawn = () if question.draws is None else tuple(sweep_draws.columns(states))
    laid = Plan(
        found,
        tuple(len(change.values) for change in found),
        (*states, *SOLUTION_COLUMNS, *drawn),
        tuple(named_parts),
        drawn=question.draws is not None,
    )
    sweep_draws.require(question, laid.cases, len(laid.columns))
    return laid


def _parts(question: SteadyStateQuestion, found: tuple[Change, ...]) -> dict[Site, str]:
    """Name every cooled part that some machine of a sweep has, by its site."""
    named = {site: element.name for site, element in blocks(question).items()}
    for change in found:
        site = site_of(change.pointers[0])
        if site is not None:
            names = [value["name"] for value in change.values if value["kind"] == "block"]
            named.update({site: named.get(site, names[0])} if names else {})
    return dict(sorted(named.items()))


def build(question: SteadyStateQuestion) -> Built:
    """Build a machine, with every refusal that it deserves."""
    _require_liquid(question)
    reservoir = question.reservoir or Reservoir(node=question.pumps[0].from_node)
    plumbing = pipework.build(question.branches, question.pumps, reservoir.node)
    return machine_build.build(question, plumbing)


def _require_liquid(question: SteadyStateQuestion) -> None:
    """Refuse a room in which the coolant freezes, which is all that a setting can be wrong in."""
    parts.above_freezing(parts.mix(question.coolant), question.room.air_c, ("room", "air_c"))


def setting_of(question: SteadyStateQuestion, built: Built) -> Setting:
    """Set one machine as it stands."""
    return machine_build.setting(question, built, np.ones(1), np.ones(1))


def turned(question: SteadyStateQuestion, built: Built) -> Setting:
    """Set a machine that was built with other settings, and nothing else other."""
    _require_liquid(question)
    return setting_of(question, machine_build.turned(built, question))


def blocks(question: SteadyStateQuestion) -> dict[Site, HeatedBlock]:
    """Give the cooled parts by their sites, in the order in which a machine is built."""
    return {
        (branch, step): element
        for branch, one in enumerate(question.branches)
        for step, element in enumerate(one.elements)
        if isinstance(element, HeatedBlock)
    }
