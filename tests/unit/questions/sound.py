"""What every answer promises, whatever was asked."""

import math
from collections import Counter
from collections.abc import Iterator
from typing import Protocol

import msgspec

from loopmargin_wire.answer import Margin, Note, Outcome, Question


class Answered(Protocol):
    """An answer of any question."""

    @property
    def question(self) -> Question: ...  # noqa: D102 - the echo
    @property
    def outcome(self) -> Outcome: ...  # noqa: D102 - how the calculation ended
    @property
    def margins(self) -> tuple[Margin, ...]: ...  # noqa: D102 - the criteria
    @property
    def notes(self) -> tuple[Note, ...]: ...  # noqa: D102 - what to know
    @property
    def state(self) -> object: ...  # noqa: D102 - the numbers


def broken_promises(question: Question, answer: Answered, confidence: float) -> list[str]:
    """List everything that an answer owes and does not keep; empty for a sound one."""
    return [
        *(f"{where} is no finite number" for where in _unfinite(msgspec.to_builtins(answer), "")),
        *(f"margin {row.criterion}" for row in answer.margins if not _consistent(row, confidence)),
        *(f"twice {name}" for name, count in _criteria(answer).items() if count > 1),
        *(f"pointer {note.pointer}" for note in answer.notes if not _resolves(question, note)),
        *_unexplained(answer),
        *([] if answer.question == question else ["the echo is not the question"]),
        *_lost_on_the_wire(answer),
    ]


def _criteria(answer: Answered) -> Counter[str]:
    """Count how often every criterion is judged."""
    return Counter(row.criterion for row in answer.margins)


def _unfinite(part: object, where: str) -> Iterator[str]:
    if isinstance(part, float) and not math.isfinite(part):
        yield where
    if isinstance(part, dict):
        for key, value in part.items():
            yield from _unfinite(value, f"{where}/{key}")
    if isinstance(part, list | tuple):
        for number, value in enumerate(part):
            yield from _unfinite(value, f"{where}/{number}")


def _consistent(row: Margin, confidence: float) -> bool:
    """Say whether surplus and verdict follow from demand, capacity, chance and confidence."""
    holds = row.capacity - row.demand >= 0.0
    sure = row.chance is None or row.chance >= confidence
    verdict = ("meets" if sure else "tight") if holds else "fails"
    return (row.surplus, row.verdict) == (row.capacity - row.demand, verdict)


def _resolves(question: Question, note: Note) -> bool:
    """Say whether the pointer of a note leads to a field of the question."""
    place: object = msgspec.to_builtins(question)
    for step in note.pointer.split("/")[1:]:
        if isinstance(place, dict) and step in place:
            place = place[step]
        elif isinstance(place, list | tuple) and step.isdecimal() and int(step) < len(place):
            place = place[int(step)]
        else:
            return False
    return True


def _unexplained(answer: Answered) -> Iterator[str]:
    """Demand a reason and advice where there is no state or a criterion fails."""
    failing = any(row.verdict == "fails" for row in answer.margins)
    if (answer.state is None or failing) and not (answer.outcome.reason and answer.outcome.advice):
        yield "an outcome without a reason and advice"
    if answer.state is None and answer.outcome.status == "solved":
        yield "solved without a state"


def _lost_on_the_wire(answer: Answered) -> Iterator[str]:
    """Infinity and NaN become null, and a number out of its bounds is refused."""
    for name, form in (("JSON", msgspec.json), ("MessagePack", msgspec.msgpack)):
        try:
            if form.decode(form.encode(answer), type=type(answer)) != answer:
                yield f"another answer after {name}"
        except msgspec.ValidationError as refused:
            yield f"{name}: {refused}"
