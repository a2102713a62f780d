"""Machines drawn about the cases of a sweep: how well each case is known, and its chances.

Every case has the same random numbers, made from the machine that the axes turn. So cases differ
by what was turned and not by luck, a case comes out the same in whichever division, and a sweep
agrees with what `steady-state` and `solve-for` draw about the same machine with the same seed.
"""

from collections.abc import Iterator, Sequence

import msgspec
import numpy as np

from loopmargin_service.physics import batch, machine
from loopmargin_service.physics.network import Array
from loopmargin_service.questions import machine_draws
from loopmargin_service.questions.draws import Draws
from loopmargin_service.questions.machine_build import Built
from loopmargin_service.questions.machine_cases import Cases, describe_cases
from loopmargin_service.questions.machine_draws import Best
from loopmargin_service.questions.margins import chance_of
from loopmargin_service.questions.refusals import Fault, Refusal
from loopmargin_service.questions.spreads import describable, interval, rough_ends
from loopmargin_wire.answer import Note
from loopmargin_wire.steady_state import SteadyStateQuestion
from loopmargin_wire.sweep import MOST_COLUMNS, MOST_DRAWN, CaseDraws, SweepQuestion
from loopmargin_wire.uncertainty import Uncertainties

ColumnName = tuple[str, str]
# Machines that stay in the processor's cache while they are solved together.
TOGETHER = 2000
SPREAD = ("standard_uncertainty", "low", "high")
# What a case has no limit for.
UNJUDGED = ("coolant_mean", "case_air")
DIFFERENCE = {"degC": "K"}


def asked_of(question: SweepQuestion, there: SteadyStateQuestion) -> Uncertainties | None:
    """Give what is drawn about cases of one machine of a sweep; nothing without `draws`."""
    if question.draws is None or there.uncertainty is None:
        return None
    seed = machine_draws.doubts_of(question.machine).seed
    return msgspec.structs.replace(there.uncertainty, draws=question.draws, seed=seed)


def columns(states: Sequence[ColumnName]) -> Iterator[ColumnName]:
    """Name what the draws say of some columns of a case."""
    for name, unit in states:
        units = DIFFERENCE.get(unit, unit), unit, unit
        yield from ((f"{name} {part}", own) for part, own in zip(SPREAD, units, strict=True))
    yield from ((f"{name} chance", "1") for name, _ in states if name not in UNJUDGED)
    yield from (("holds chance", "1"), ("settled_share", "1"))


def require(question: SweepQuestion, cases: int, columns_each: int) -> None:
    """Refuse draws that nothing states, or that are too many."""
    draws = question.draws
    if draws is None:
        return
    if question.machine.uncertainty is None:
        reason = (
            "`draws` asks for machines drawn by their uncertainty, and null states none; leave "
            "this out for what is usual, or leave `draws` out"
        )
        raise Refusal(Fault(("machine", "uncertainty"), reason))
    if cases * draws > MOST_DRAWN:
        reason = (
            f"{draws} draws about each of {cases} cases are {cases * draws}, and one question may "
            f"ask for {MOST_DRAWN}; draw {MOST_DRAWN // cases} or fewer, give the axes fewer "
            "values, or ask in parts"
        )
        raise Refusal(Fault(("draws",), reason))
    if columns_each > MOST_COLUMNS:
        reason = (
            f"with draws every case has {columns_each} columns, and may have {MOST_COLUMNS}; "
            "leave `draws` out, or sweep a machine of fewer parts"
        )
        raise Refusal(Fault(("draws",), reason))


def stated(question: SweepQuestion) -> CaseDraws | None:
    """Say what every case was drawn with."""
    if question.draws is None:
        return None
    seed = machine_draws.doubts_of(question.machine).seed
    return CaseDraws(draws=question.draws, seed=seed, confidence=question.machine.confidence)


def notes(drawn: CaseDraws) -> Iterator[Note]:
    """Say how far draws about cases may be trusted, and where their causes are had."""
    yield Note(
        code="cases_drawn",
        text=f"{drawn.draws} machines are drawn about every case, with the same random numbers for "
        "each, so that cases differ by what was turned and not by luck. A chance of one half has a "
        f"standard error of {0.5 / drawn.draws**0.5:.2g} in so many draws, any other a smaller "
        "one. `holds` stands at best estimate; it and the chances judge coolant, parts and flow. "
        "Ask `steady-state` about one case with this seed for the budget of causes, and for head, "
        "suction, air, supply and noise.",
        pointer="/draws",
    )
    yield from rough_ends(drawn.draws, drawn.confidence, "/draws")


def together(asked: Uncertainties) -> int:
    """Tell about how many cases machines are drawn at once."""
    return max(TOGETHER // asked.draws, 1)


def about(built: Built, bests: Sequence[Best], asked: Uncertainties) -> list[Cases]:
    """Draw machines about some cases of one machine, no more than go together, and solve them."""
    drawn = [machine_draws.draws_about(best, asked) for best in bests]
    parts = [
        _solved(built, bests, [one.some(slice(start, start + TOGETHER)) for one in drawn])
        for start in range(0, asked.draws, TOGETHER)
    ]
    return [batch.joined(of_one) for of_one in zip(*parts, strict=True)]


def _solved(built: Built, bests: Sequence[Best], drawn: Sequence[Draws]) -> list[Cases]:
    """Solve some of the machines that were drawn about each case, all in one batch."""
    apart = batch.joined(list(map(machine_draws.departures, bests, drawn)))
    state = machine.solve(built.machine, apart.setting)
    found = describe_cases(built, apart.setting, state, apart.blocks)
    each = drawn[0].size
    firsts = range(0, len(bests) * each, each)
    return [batch.cases_of(found, np.arange(first, first + each)) for first in firsts]


def described(question: SteadyStateQuestion, limits: Array, cases: Cases) -> list[float]:
    """Give the numbers of one case in the order of `columns`; NaN where there is no spread.

    A draw without an answer holds nothing, and too few that settle have chances alone.
    """
    found: list[float] = []
    for values in cases.states:
        found += _spread(values, cases, question.confidence)
    surpluses = cases.surpluses(question, limits)
    chances = [chance_of(row) for row in (*surpluses, surpluses.min(axis=0))]
    return [*found, *chances, float(cases.settled.mean())]


def _spread(values: Array, cases: Cases, confidence: float) -> tuple[float, float, float]:
    """Give deviation and interval of one quantity, if it has them."""
    if not describable(values, cases.settled):
        return (np.nan, np.nan, np.nan)
    return interval(values[cases.settled], confidence).told
