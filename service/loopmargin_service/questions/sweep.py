"""`sweep`: one machine over a grid of settings, all cases of one build solved together."""

import math
from typing import Any, NamedTuple

import msgspec
import numpy as np

from loopmargin_service.physics import batch, machine
from loopmargin_service.physics.machine import Setting
from loopmargin_service.physics.network import Array
from loopmargin_service.questions import machine_build, parts, pipework, steady_state, wording
from loopmargin_service.questions.edition import EDITION
from loopmargin_service.questions.machine_build import Built
from loopmargin_service.questions.machine_cases import Cases, describe_cases
from loopmargin_service.questions.refusals import Refusal
from loopmargin_service.questions.sweep_axes import (
    Change,
    applied,
    case_numbers,
    changes,
    combinations,
)
from loopmargin_wire.answer import Outcome
from loopmargin_wire.part import Reservoir
from loopmargin_wire.steady_state import HeatedBlock, SteadyStateQuestion
from loopmargin_wire.sweep import (
    CaseFault,
    CaseStatus,
    Column,
    Grid,
    SweepAnswer,
    SweepQuestion,
)

# Cases that stay in the processor's cache while they are solved together.
CHUNK = 2000
MOST_FAULTS = 100
STATUSES: tuple[CaseStatus, ...] = ("settled", "outside_validity", "not_converged", "refused")
SETTLED, OUTSIDE, UNSETTLED, REFUSED = range(4)


class Table(NamedTuple):
    """Numbers of all cases, row by row, with the status and the reasons of those without."""

    names: tuple[tuple[str, str], ...]
    numbers: Array
    holds: np.ndarray[tuple[int], np.dtype[np.bool_]]
    status: np.ndarray[tuple[int], np.dtype[np.intp]]
    faults: list[CaseFault]


def answer(question: SweepQuestion) -> SweepAnswer:
    """Solve the whole grid."""
    found = changes(question)
    build(question.machine)
    table = _empty(question.machine, found)
    structural = [number for number, change in enumerate(found) if not change.setting]
    for values in combinations(tuple(found[number] for number in structural)):
        fixed = dict(zip(structural, values, strict=True))
        _fill(table, question.machine, found, fixed)
    plain = steady_state.answer(msgspec.structs.replace(question.machine, uncertainty=None))
    return SweepAnswer(
        edition=EDITION,
        outcome=Outcome(status="solved"),
        margins=(),
        basis=plain.basis,
        notes=(wording.AIR_FLOW_NOTE, wording.NO_LOOP_LOSS_NOTE),
        cautions=plain.cautions,
        question=question,
        state=_grid(found, table),
    )


def build(question: SteadyStateQuestion) -> Built:
    """Build a machine, with every refusal that it deserves."""
    parts.above_freezing(parts.mix(question.coolant), question.room.air_c, ("room", "air_c"))
    reservoir = question.reservoir or Reservoir(node=question.pumps[0].from_node)
    plumbing = pipework.build(question.branches, question.pumps, reservoir.node)
    return machine_build.build(question, plumbing)


def _empty(question: SteadyStateQuestion, found: tuple[Change, ...]) -> Table:
    """Lay out a table in which no case has settled yet."""
    built = build(question)
    names = [
        ("coolant_hottest", "degC"),
        ("coolant_mean", "degC"),
        ("flow", "L/min"),
        ("case_air", "degC"),
        *((f"part {item.wire.name} {row + 1}", "degC") for row, item in enumerate(built.blocks)),
    ]
    count = case_numbers(found, {}).size
    return Table(
        tuple(names),
        np.full((len(names), count), np.nan),
        np.zeros(count, dtype=np.bool_),
        np.full(count, REFUSED, dtype=np.intp),
        [],
    )


def _fill(
    table: Table,
    question: SteadyStateQuestion,
    found: tuple[Change, ...],
    fixed: dict[int, int],
) -> None:
    """Solve all cases of one machine; a machine that is refused leaves its cases refused."""
    cases = case_numbers(found, fixed)
    try:
        for axis, value in fixed.items():
            question = applied(question, found[axis], found[axis].values[value])
        built = build(question)
    except (Refusal, msgspec.ValidationError) as error:
        _refuse(table, cases, str(error))
        return
    setting, bad = _settings(question, found, fixed)
    for row, reason in bad.items():
        _refuse(table, cases[[row]], reason)
    good = np.array([row for row in range(cases.size) if row not in bad], dtype=np.intp)
    for start in range(0, good.size, CHUNK):
        rows = good[start : start + CHUNK]
        here = batch.cases_of(setting, rows)
        state = machine.solve(built.machine, here)
        _put(table, cases[rows], question, describe_cases(built, here, state), state.converged)


def _refuse(table: Table, cases: np.ndarray, reason: str) -> None:
    """Note why cases have no numbers, a bounded number of times."""
    for case in cases[: MOST_FAULTS - len(table.faults)]:
        table.faults.append(CaseFault(case=int(case), reason=reason[:2000]))


def _settings(
    question: SteadyStateQuestion, found: tuple[Change, ...], fixed: dict[int, int]
) -> tuple[Setting, dict[int, str]]:
    """Set every case of one machine; give also the cases that a value makes impossible.

    Each value of an axis is set on the machine alone, and the differences it makes are added
    up over the axes: no two axes turn the same thing, and the heat of the case air is a sum.
    """
    free = tuple(change for axis, change in enumerate(found) if axis not in fixed)
    shape = tuple(len(change.values) for change in free)
    place = np.unravel_index(np.arange(int(np.prod(shape))), shape) if free else ()
    base = _setting(question)
    whole, bad = batch.cases_of(base, np.zeros(int(np.prod(shape)), dtype=np.intp)), {}
    for change, values in zip(free, place, strict=True):
        turned, impossible = _turned(question, change, base)
        whole = _plus(whole, batch.cases_of(turned, values), base)
        for number, reason in impossible.items():
            bad.update(dict.fromkeys(map(int, np.flatnonzero(values == number)), reason))
    return whole, bad


def setting_of(question: SteadyStateQuestion, built: Built) -> Setting:
    """Set one machine as it stands."""
    return machine_build.setting(question, built, np.ones(1), np.ones(1))


def _setting(question: SteadyStateQuestion) -> Setting:
    """Build and set one machine."""
    return setting_of(question, build(question))


def _turned(
    question: SteadyStateQuestion, change: Change, base: Setting
) -> tuple[Setting, dict[int, str]]:
    """Set the machine at each value of one axis; a value that is impossible stays at the base."""
    settings, impossible = [], {}
    for number, value in enumerate(change.values):
        try:
            settings.append(_setting(applied(question, change, value)))
        except (Refusal, msgspec.ValidationError) as error:
            impossible[number] = f"{change.name} at {value:g}: {error}"
            settings.append(base)
    columns = zip(*settings, strict=True)
    return Setting._make(
        np.concatenate(column, axis=-1) if isinstance(column[0], np.ndarray) else column[0]
        for column in columns
    ), impossible


def _plus(whole: Setting, turned: Setting, base: Setting) -> Setting:
    """Add the differences that one axis makes."""
    rows: zip[tuple[Any, Any, Any]] = zip(whole, turned, base, strict=True)
    return Setting._make(
        have + (new - old) if isinstance(have, np.ndarray) else have for have, new, old in rows
    )


def _put(
    table: Table,
    cases: np.ndarray,
    question: SteadyStateQuestion,
    solved: Cases,
    converged: np.ndarray,
) -> None:
    """Write the numbers of solved cases into the table."""
    rows = np.vstack(
        [
            solved.coolant_hottest_c,
            solved.coolant_mean_c,
            solved.flow_l_per_min,
            solved.case_air_c,
            solved.component_c,
        ]
    )
    table.numbers[:, cases] = np.where(solved.settled, rows, np.nan)
    table.status[cases] = np.where(solved.settled, SETTLED, np.where(converged, OUTSIDE, UNSETTLED))
    limits = np.array([item.limit_c for item in _blocks(question)])[:, None]
    table.holds[cases] = (
        solved.settled
        & (solved.coolant_hottest_c <= question.coolant_limit_c)
        & (solved.flow_l_per_min >= question.required_flow_l_per_min)
        & (solved.component_c <= limits).all(axis=0)
    )


def _blocks(question: SteadyStateQuestion) -> list[HeatedBlock]:
    """List the cooled parts in the order of the branches."""
    elements = (element for branch in question.branches for element in branch.elements)
    return [element for element in elements if isinstance(element, HeatedBlock)]


def _grid(found: tuple[Change, ...], table: Table) -> Grid:
    """Put the table on the wire; what did not settle is null."""
    return Grid(
        shape=tuple(len(change.values) for change in found),
        axes=tuple(change.name for change in found),
        status=tuple(STATUSES[status] for status in table.status),
        holds=tuple(bool(value) for value in table.holds),
        columns=tuple(
            Column(name=name, unit=unit, values=_nullable(values))
            for (name, unit), values in zip(table.names, table.numbers, strict=True)
        ),
        faults=tuple(table.faults),
    )


def _nullable(values: Array) -> tuple[float | None, ...]:
    """Give plain floats, with nothing where there is no number."""
    return tuple(None if math.isnan(value) else value for value in values.tolist())
