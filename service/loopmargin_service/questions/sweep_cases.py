"""The cases of a sweep from one number to another, solved; the same digits in any division.

Cases of one machine are solved together.
"""

from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from loopmargin_service.physics import batch, machine
from loopmargin_service.physics.machine import Equilibrium, Setting
from loopmargin_service.physics.network import Array
from loopmargin_service.questions import sweep_draws, sweep_machines
from loopmargin_service.questions.machine_cases import Cases, describe_cases
from loopmargin_service.questions.sweep_draws import TOGETHER
from loopmargin_service.questions.sweep_machines import Prepared
from loopmargin_service.questions.sweep_plan import Plan
from loopmargin_wire.sweep import CaseFault, CaseStatus, SweepQuestion
from loopmargin_wire.uncertainty import Uncertainties

MOST_FAULTS = 100
STATUSES: tuple[CaseStatus, ...] = (
    "settled",
    "outside_validity",
    "not_converged",
    "refused",
    "worker_lost",
)
SETTLED, OUTSIDE, UNSETTLED, REFUSED, LOST = range(5)

Numbers = NDArray[np.intp]


class Block(NamedTuple):
    """Cases that follow each other: columns (columns, cases), NaN where there is no number."""

    first: int
    status: NDArray[np.uint8]
    holds: NDArray[np.bool_]
    numbers: Array
    faults: tuple[CaseFault, ...] = ()


def solve(question: SweepQuestion, first: int, last: int) -> Block:
    """
    Solve the cases from *first* up to, but without, *last*.

    Parameters
    ----------
    question : SweepQuestion
        Machine and axes; nothing else of it matters.
    first, last : int
        Numbers of cases; the last axis runs first. [-]

    Returns
    -------
    Block
        Columns in the order of `plan(question).columns`.

    Notes
    -----
    A case has the same digits in whichever range it is solved.
    """
    machines = sweep_machines.machines(question)
    laid = machines.laid
    block = empty(laid, first, last)
    places = np.unravel_index(np.arange(first, last), laid.shape)
    faults: list[CaseFault] = []
    for fixed, rows in _machines(laid, places):
        prepared = machines.at(fixed)
        if isinstance(prepared, str):
            _refuse(faults, first + rows, prepared)
            continue
        setting, bad = _settings(prepared, [place[rows] for place in places])
        for row, reason in bad.items():
            _refuse(faults, first + rows[[row]], reason)
        good = np.array([row for row in range(rows.size) if row not in bad], dtype=np.intp)
        _solve(block, prepared, setting, (good, rows))
    faults.sort(key=lambda fault: fault.case)
    return block._replace(faults=tuple(faults[:MOST_FAULTS]))


def empty(laid: Plan, first: int, last: int, status: int = REFUSED) -> Block:
    """Lay out cases of which none has numbers."""
    number = last - first
    return Block(
        first,
        np.full(number, status, dtype=np.uint8),
        np.zeros(number, dtype=np.bool_),
        np.full((len(laid.columns), number), np.nan),
    )


def _machines(
    laid: Plan, places: tuple[NDArray[np.intp], ...]
) -> list[tuple[tuple[int, ...], Numbers]]:
    """Give the machines that some cases stand for, and which of the cases are whose."""
    structural = laid.structural
    if not structural:
        return [((), np.arange(places[0].size))]
    chosen = np.stack([places[axis] for axis in structural])
    found, whose = np.unique(chosen, axis=1, return_inverse=True)
    return [
        (tuple(int(value) for value in found[:, number]), np.flatnonzero(whose.ravel() == number))
        for number in range(found.shape[1])
    ]


def _settings(prepared: Prepared, places: list[NDArray[np.intp]]) -> tuple[Setting, dict[int, str]]:
    """Set cases of one machine; give also the cases that a value makes impossible.

    Each value of an axis is set on the machine alone, and the differences it makes are added
    up over the axes: no two axes turn the same thing, and the heat of the case air is a sum.
    """
    base = prepared.base
    whole = batch.cases_of(base, np.zeros(places[0].size, dtype=np.intp))
    bad: dict[int, str] = {}
    for axis, turned in enumerate(prepared.turned):
        if turned is None:
            continue
        whole = _plus(whole, batch.cases_of(turned, places[axis]), base)
        for number, reason in prepared.impossible[axis].items():
            bad.update(dict.fromkeys(map(int, np.flatnonzero(places[axis] == number)), reason))
    return whole, bad


def _plus(whole: Setting, turned: Setting, base: Setting) -> Setting:
    """Add the differences that one axis makes."""
    rows: zip[tuple[Any, Any, Any]] = zip(whole, turned, base, strict=True)
    return Setting._make(
        have + (new - old) if isinstance(have, np.ndarray) else have for have, new, old in rows
    )


def _refuse(faults: list[CaseFault], cases: Numbers, reason: str) -> None:
    """Note why cases have no numbers, a bounded number of times."""
    told = cases[: MOST_FAULTS - len(faults)].tolist()
    faults.extend(CaseFault(case=case, reason=reason[:2000]) for case in told)


def _solve(
    block: Block, prepared: Prepared, setting: Setting, which: tuple[Numbers, Numbers]
) -> None:
    """Solve the good cases of one machine and write them into their rows of the block."""
    good, rows = which
    for start in range(0, good.size, TOGETHER):
        chosen = good[start : start + TOGETHER]
        here = batch.cases_of(setting, chosen)
        state = machine.solve(prepared.built.machine, here)
        solved = describe_cases(prepared.built, here, state)
        _put(block, rows[chosen], prepared, (solved, state))
        if prepared.asked is not None:
            _draw(block, rows[chosen], (prepared, prepared.asked), state)


def _put(
    block: Block,
    rows: Numbers,
    prepared: Prepared,
    found: tuple[Cases, Equilibrium],
) -> None:
    """Write the numbers of solved cases; what did not settle keeps those of its solution alone."""
    solved, state = found
    for column, values in zip(prepared.states, solved.states, strict=True):
        block.numbers[column, rows] = np.where(solved.settled, values, np.nan)
    solution = prepared.laid.solution
    block.numbers[solution, rows] = state.iterations
    block.numbers[solution + 1, rows] = np.where(np.isfinite(state.change), state.change, np.nan)
    unsettled = np.where(state.converged, OUTSIDE, UNSETTLED)
    block.status[rows] = np.where(solved.settled, SETTLED, unsettled)
    surpluses = solved.surpluses(prepared.question, prepared.limits_c)
    block.holds[rows] = (surpluses >= 0.0).all(axis=0)


def _draw(
    block: Block, rows: Numbers, known: tuple[Prepared, Uncertainties], state: Equilibrium
) -> None:
    """Draw about the cases that settled, as many together as fill a batch."""
    prepared, asked = known
    settled = np.flatnonzero(block.status[rows] == SETTLED)
    size = sweep_draws.together(asked)
    for start in range(0, settled.size, size):
        some = settled[start : start + size]
        bests = [
            prepared.best(block.first + int(rows[place]), batch.cases_of(state, place[None]))
            for place in some
        ]
        found = sweep_draws.about(prepared.built, bests, asked)
        for row, cases in zip(rows[some], found, strict=True):
            told = sweep_draws.described(prepared.question, prepared.limits_c, cases)
            block.numbers[prepared.drawn, row] = told
