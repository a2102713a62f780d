"""`solve-for`: the least or greatest setting at which every margin of a machine holds.

A range is searched (`solve_for_search.py`); of alternatives each is tried, and the first that
holds in their order is the answer. What is answered is the machine as it was judged there.
"""

import math

from loopmargin_service.questions import solve_for_words as words
from loopmargin_service.questions.edition import EDITION
from loopmargin_service.questions.refusals import Fault, Refusal
from loopmargin_service.questions.solve_for_judge import Judged, MachineJudge
from loopmargin_service.questions.solve_for_search import first_that_holds, grid, search
from loopmargin_service.questions.sweep_axes import Change, resolved
from loopmargin_wire.answer import Outcome
from loopmargin_wire.solve_for import (
    AlternativeRange,
    FactorRange,
    FieldRange,
    Solution,
    SolveForAnswer,
    SolveForQuestion,
    Tried,
)
from loopmargin_wire.steady_state import SteadyStateAnswer
from loopmargin_wire.sweep import AlternativeAxis, Axis, FactorAxis, FieldAxis

MOST_DRAWS = 2000
# Says how the machine is judged; a search over it would only change what the answer costs.
DRAWS = "/uncertainty/draws"
MOST_FAULTS = 32

Answered = tuple[Judged, SteadyStateAnswer]


def answer(question: SolveForQuestion) -> SolveForAnswer:
    """Close in on the boundary and answer the machine there."""
    _require_few_draws(question)
    judge = MachineJudge(question.machine, _change(question))
    tried = _tried(question, judge)
    answered = _answered(question, judge, tried)
    first = first_that_holds(tried)
    if first is not None:
        found = next(pair for pair in answered if pair[0].holds)
        reason = words.end(question, tried) if first == 0 else ""
        state = _solution(judge, tried, first)
        return _answer(
            question, judge, (tried, found), Outcome(status="solved", reason=reason), state
        )
    closest = max(reversed(answered), key=lambda pair: pair[0].rank)
    named = judge.named(closest[0].value)
    outcome = Outcome(
        status="no_operating_point",
        reason=words.nothing(question, named, tried, closest[0])[:2000],
        advice=(words.ADVICE,),
    )
    return _answer(question, judge, (tried, closest), outcome, None)


def _require_few_draws(question: SolveForQuestion) -> None:
    asked = question.machine.uncertainty
    if asked is not None and asked.draws > MOST_DRAWS:
        reason = (
            f"{asked.draws} draws at every value tried are too many; ask for at most "
            f"{MOST_DRAWS} here"
        )
        raise Refusal(Fault(("machine", "uncertainty", "draws"), reason))


def _change(question: SolveForQuestion) -> Change:
    """Resolve the unknown as an axis of a sweep."""
    unknown = question.unknown
    if isinstance(unknown, FieldRange) and unknown.pointer == DRAWS:
        reason = f"{DRAWS} is no part of the machine; seek another number, and choose the draws"
        raise Refusal(Fault(("unknown", "pointer"), reason))
    try:
        return resolved(question.machine, (_axis(unknown),))[0]
    except Refusal as refusal:
        raise Refusal(
            *(Fault(("unknown", *fault.path[2:]), fault.detail) for fault in refusal.faults)
        ) from refusal


def _axis(unknown: FieldRange | FactorRange | AlternativeRange) -> Axis:
    """Give the axis of a sweep that changes the same."""
    if isinstance(unknown, AlternativeRange):
        return AlternativeAxis(pointer=unknown.pointer, elements=unknown.elements)
    ends = (unknown.lowest, unknown.highest)
    if isinstance(unknown, FieldRange):
        return FieldAxis(pointer=unknown.pointer, values=ends)
    return FactorAxis(of=unknown.of, values=ends)


def _tried(question: SolveForQuestion, judge: MachineJudge) -> list[Judged]:
    """Judge all elements, or search the range, from the end that is sought."""
    unknown, whole = question.unknown, judge.change.whole
    step = 1 if question.seek == "least" else -1
    if isinstance(unknown, AlternativeRange):
        return [judge(float(number)) for number in range(len(unknown.elements))[::step]]
    low, high = unknown.lowest, unknown.highest
    if low >= high:
        reason = f"highest is {high:g} and lowest {low:g}; give a range with highest above lowest"
        raise Refusal(Fault(("unknown", "highest"), reason))
    if whole and math.ceil(low) > math.floor(high):
        reason = (
            f"there is no whole number from {low:g} to {high:g}, and /{judge.change.name} is one"
        )
        raise Refusal(Fault(("unknown", "highest"), reason))
    return search(judge, grid(low, high, whole=whole)[::step], whole=whole)


def _answered(
    question: SolveForQuestion, judge: MachineJudge, tried: list[Judged]
) -> list[Answered]:
    """Give what there is an answer for; without any the question contradicts itself."""
    found = [(one, one.answer) for one in tried if one.answer]
    if found:
        return found
    refused = tried if isinstance(question.unknown, AlternativeRange) else tried[:1]
    faults = [
        words.placed(question, judge.change, one, fault)
        for one in refused
        for fault in (one.refusal.faults if one.refusal else ())
    ]
    raise Refusal(*list(dict.fromkeys(faults))[:MOST_FAULTS])


def _solution(judge: MachineJudge, tried: list[Judged], first: int) -> Solution:
    """Describe the value found and how far the boundary may be away."""
    found, beyond = tried[first], tried[first - 1] if first else None
    named = judge.named(found.value)
    apart = abs(found.value - beyond.value) if beyond and named is None else 0.0
    return Solution(
        unknown=judge.change.name,
        value=found.value,
        tolerance=max(apart - 1.0, 0.0) if judge.change.whole else apart,
        binding=beyond.worst if beyond else None,
        machine=found.answer.state if found.answer else None,
        element=named,
    )


def _answer(
    question: SolveForQuestion,
    judge: MachineJudge,
    known: tuple[list[Judged], Answered],
    outcome: Outcome,
    state: Solution | None,
) -> SolveForAnswer:
    """Put the answer together from the machine at one of the values tried."""
    tried, there = known
    _, machine = there
    return SolveForAnswer(
        edition=EDITION,
        outcome=outcome,
        margins=machine.margins if state else (),
        basis=machine.basis,
        notes=words.notes(question, judge.seed, tried, there),
        cautions=machine.cautions,
        question=question,
        state=state,
        tried=tuple(map(_told, sorted(tried, key=lambda one: one.value))),
    )


def _told(one: Judged) -> Tried:
    """Write one value that was tried."""
    worst = one.worst_margin
    return Tried(
        value=one.value,
        holds=one.holds,
        worst=one.worst,
        chance=worst.chance if worst else None,
        chance_standard_error=worst.chance_standard_error if worst else None,
    )
