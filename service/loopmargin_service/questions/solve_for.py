"""`solve-for`: the least or greatest setting at which every margin of a machine holds.

A range is looked at on a grid, then the step that holds the boundary is halved; of alternatives
each is tried, and the first that holds in their order is the answer. The draws are the same at
every value and in the answer, so the boundary is not blurred by them.
"""

from typing import NamedTuple

import msgspec
import numpy as np

from loopmargin_service.physics import machine
from loopmargin_service.physics.network import Array
from loopmargin_service.questions import (
    machine_draws,
    machine_noise,
    machine_state,
    steady_state,
    supply_headroom,
    sweep_plan,
)
from loopmargin_service.questions.affinity import too_fast
from loopmargin_service.questions.edition import EDITION
from loopmargin_service.questions.machine_build import Built
from loopmargin_service.questions.machine_cases import Cases, describe_cases
from loopmargin_service.questions.machine_draws import Best
from loopmargin_service.questions.refusals import Fault, Refusal
from loopmargin_service.questions.sweep_axes import Change, applied, changes
from loopmargin_wire.answer import Margin, Outcome
from loopmargin_wire.solve_for import (
    AlternativeRange,
    FactorRange,
    FieldRange,
    Solution,
    SolveForAnswer,
    SolveForQuestion,
    Tried,
)
from loopmargin_wire.steady_state import SteadyStateQuestion
from loopmargin_wire.sweep import AlternativeAxis, Axis, FactorAxis, FieldAxis, SweepQuestion

# A coarse look at the whole range, then halvings of the step that holds the boundary.
GRID = 9
HALVINGS = 8
MOST_DRAWS = 2000
# What is named instead of a criterion where there are no numbers to judge.
UNSETTLED = "the settling of flow, air and heat together"


class Judged(NamedTuple):
    """What was found at one value: the chance of each criterion, or its surplus without draws."""

    value: float
    holds: bool
    worst: str
    chance: float | None


def answer(question: SolveForQuestion) -> SolveForAnswer:
    """Close in on the boundary and answer the machine there."""
    asked = question.machine.uncertainty
    if asked is not None and asked.draws > MOST_DRAWS:
        raise Refusal(
            Fault(
                ("machine", "uncertainty", "draws"),
                f"{asked.draws} draws at every value tried are too many; ask for at most "
                f"{MOST_DRAWS} here",
            )
        )
    judge = _Judge(question.machine, _change(question))
    tried = [judge.at(value) for value in _looked_at(question)]
    first = next((number for number, one in enumerate(tried) if one.holds), None)
    if first is None:
        return _nothing(question, judge, tried)
    if first == 0:
        return _answer(question, judge, (tried[0], None), tried)
    beyond, found = tried[first - 1], tried[first]
    if not isinstance(question.unknown, AlternativeRange):
        for _ in range(HALVINGS):
            middle = judge.at(0.5 * (beyond.value + found.value))
            tried.append(middle)
            beyond, found = (beyond, middle) if middle.holds else (middle, found)
    return _answer(question, judge, (found, beyond), tried)


def _looked_at(question: SolveForQuestion) -> list[float]:
    """Give the values of the first look, from the end that is sought."""
    unknown = question.unknown
    least = question.seek == "least"
    if isinstance(unknown, AlternativeRange):
        places = [float(number) for number in range(len(unknown.elements))]
        return places if least else places[::-1]
    low, high = unknown.lowest, unknown.highest
    if low >= high:
        reason = f"highest is {high:g} and lowest {low:g}; give a range with highest above lowest"
        raise Refusal(Fault(("unknown", "highest"), reason))
    values: list[float] = np.linspace(*((low, high) if least else (high, low)), GRID).tolist()
    return values


def _change(question: SolveForQuestion) -> Change:
    """Resolve the unknown as an axis of a sweep."""
    try:
        return changes(SweepQuestion(machine=question.machine, axes=(_axis(question.unknown),)))[0]
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


class _Judge:
    """Judges a machine at one value of the unknown after another, with the same draws."""

    def __init__(self, question: SteadyStateQuestion, change: Change) -> None:
        self.change = change
        self.doubts = machine_draws.doubts_of(question)
        self._question = question

    def machine_at(self, value: float) -> SteadyStateQuestion:
        """Give the machine with the unknown at a value, or with the alternative of that number."""
        put = self.change.values[int(value)] if self.alternative(value) else value
        return applied(self._question, self.change, put)

    def alternative(self, value: float) -> str | None:
        """Name the element that a value stands for, where elements are sought."""
        if not isinstance(self.change.values[0], dict):
            return None
        return str(self.change.values[int(value)]["name"])

    def at(self, value: float) -> Judged:
        """Judge one value; a machine that cannot be is one that does not hold."""
        try:
            return self._judged(self.machine_at(value), value)
        except (Refusal, msgspec.ValidationError) as error:
            return Judged(value, holds=False, worst=str(error)[:500], chance=None)

    def _judged(self, question: SteadyStateQuestion, value: float) -> Judged:
        """Judge one machine by the worst of its criteria."""
        built = sweep_plan.build(question)
        setting = sweep_plan.setting_of(question, built)
        state = machine.solve(built.machine, setting)
        fast = too_fast(question.pumps, (fans for fans in built.fans if fans is not None))
        if fast is not None:
            return Judged(value, holds=False, worst=fast.reason[:500], chance=None)
        if not state.converged[0]:
            return Judged(value, holds=False, worst=UNSETTLED, chance=None)
        asked = machine_state.supply_question(question, built, state, self.doubts.supply)
        beside = {f"supply: {one.criterion}": one for one in supply_headroom.answer(asked).margins}
        noise = machine_noise.machine_noise(question, self.doubts.noise)
        beside |= {one.criterion: one for one in noise.margins} if noise else {}
        cases = describe_cases(built, setting, state)
        if question.uncertainty is not None and cases.settled[0]:
            best = Best(question, built, state)
            drawn = machine_draws.draw(best, question.uncertainty, self.doubts.seed)
            return _by_chance(question, built, (drawn.cases, beside), value)
        surpluses = {
            name: float(row[0]) for name, row in _surpluses(question, built, cases).items()
        }
        surpluses |= _beside(beside)
        worst = min(surpluses, key=lambda name: surpluses[name])
        return Judged(value, bool(cases.settled[0]) and surpluses[worst] >= 0.0, worst, None)


def _by_chance(
    question: SteadyStateQuestion,
    built: Built,
    found: tuple[Cases, dict[str, Margin]],
    value: float,
) -> Judged:
    """Judge one machine by the chance of its worst criterion."""
    cases, beside = found
    chances = {
        name: float((cases.settled & (surplus >= 0.0)).mean())
        for name, surplus in _surpluses(question, built, cases).items()
    }
    chances |= {name: _chance(one) for name, one in beside.items()}
    worst = min(chances, key=lambda name: chances[name])
    return Judged(value, chances[worst] >= question.confidence, worst, chances[worst])


def _surpluses(question: SteadyStateQuestion, built: Built, cases: Cases) -> dict[str, Array]:
    """Give the surplus of every criterion over its limit, so that they compare. [-]"""
    room = question.room.air_c
    allowed = max(question.coolant_limit_c - room, 1.0)
    rows = {
        "hottest coolant": (question.coolant_limit_c - cases.coolant_hottest_c) / allowed,
        "loop flow": cases.flow_l_per_min / question.required_flow_l_per_min - 1.0,
    }
    for item, values in zip(built.blocks, cases.component_c, strict=True):
        span = max(item.wire.limit_c - room, 1.0)
        rows[f"temperature of {item.wire.name}"] = (item.wire.limit_c - values) / span
    return rows


def _chance(one: Margin) -> float:
    """Give the chance of a margin; one that is not drawn holds or does not."""
    return float(one.surplus >= 0.0) if one.chance is None else one.chance


def _beside(margins: dict[str, Margin]) -> dict[str, float]:
    """Give the surplus of margins beside the machine's own over what they may take. [-]"""
    return {name: one.surplus / max(abs(one.capacity), 1e-9) for name, one in margins.items()}


def _nothing(question: SolveForQuestion, judge: _Judge, tried: list[Judged]) -> SolveForAnswer:
    """Answer that no value of the range holds."""
    best = tried[-1]
    named = judge.alternative(best.value)
    plain = steady_state.answer(msgspec.structs.replace(question.machine, uncertainty=None))
    return SolveForAnswer(
        edition=EDITION,
        outcome=Outcome(
            status="no_operating_point",
            reason=f"{_range(question)} meets the margins; "
            f"{'with' if named else 'at'} {named or format(best.value, 'g')} it is {best.worst} "
            "that fails",
            advice=("Widen the range, relax the limit that fails, or change another part.",),
        ),
        margins=(),
        basis=plain.basis,
        notes=plain.notes,
        cautions=plain.cautions,
        question=question,
        state=None,
        tried=_tried(tried),
    )


def _range(question: SolveForQuestion) -> str:
    """Name what was looked through in vain."""
    unknown = question.unknown
    if isinstance(unknown, AlternativeRange):
        return f"none of the {len(unknown.elements)} elements"
    return f"no value from {unknown.lowest:g} to {unknown.highest:g}"


def _answer(
    question: SolveForQuestion,
    judge: _Judge,
    boundary: tuple[Judged, Judged | None],
    tried: list[Judged],
) -> SolveForAnswer:
    """Answer the machine at the value found."""
    found, beyond = boundary
    named = judge.alternative(found.value)
    there = steady_state.answer(judge.machine_at(found.value), seed=judge.doubts.seed or None)
    return SolveForAnswer(
        edition=EDITION,
        outcome=Outcome(
            status="solved",
            reason="" if beyond else "the whole range holds; the value is its end",
        ),
        margins=there.margins,
        basis=there.basis,
        notes=there.notes,
        cautions=there.cautions,
        question=question,
        state=Solution(
            unknown=judge.change.name,
            value=found.value,
            tolerance=abs(found.value - beyond.value) if beyond and named is None else 0.0,
            binding=beyond.worst if beyond else None,
            machine=there.state,
            element=named,
        ),
        tried=_tried(tried),
    )


def _tried(tried: list[Judged]) -> tuple[Tried, ...]:
    """Give every value once, in rising order."""
    rows = {one.value: one for one in tried}
    return tuple(
        Tried(value=one.value, holds=one.holds, worst=one.worst, chance=one.chance)
        for _, one in sorted(rows.items())
    )
