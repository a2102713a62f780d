"""What a search has to say: why it ended where it did, and where a fault lies."""

from collections.abc import Iterator, Sequence
from itertools import pairwise

from loopmargin_service.questions.refusals import Fault
from loopmargin_service.questions.solve_for_judge import NOT_SOUGHT, UNSETTLED, Judged
from loopmargin_service.questions.sweep_axes import Change
from loopmargin_wire.answer import Margin, Note
from loopmargin_wire.solve_for import AlternativeRange, SolveForQuestion
from loopmargin_wire.steady_state import SteadyStateAnswer

ADVICE = "Widen the range, relax the limit that fails, or change another part."


def why(one: Judged) -> str:
    """Say why a value does not hold."""
    if not one.trouble or one.trouble == UNSETTLED:
        return f"it is {one.worst} that fails"
    return one.trouble if one.refusal else f"there is no operating point: {one.trouble}"


def nothing(question: SolveForQuestion, named: str | None, tried: list[Judged], at: Judged) -> str:
    """Say that no value holds, why not at the closest one, and what fails on its two sides."""
    unknown = question.unknown
    if isinstance(unknown, AlternativeRange):
        return f"none of the {len(tried)} elements meets the margins; with {named} {why(at)}"
    rising = sorted(tried, key=lambda one: one.value)
    return (
        f"no value of the {len(tried)} tried from {unknown.lowest:g} to {unknown.highest:g} "
        f"meets the margins; at {at.value:g} {why(at)}{_between(rising, rising.index(at))}"
    )


def _between(rising: list[Judged], place: int) -> str:
    """Say what fails below and above some value, if it is not the same."""
    for low, high in ((-1, 1), (-1, 0), (0, 1), (-2, 0), (0, 2)):
        if place + low < 0 or place + high >= len(rising):
            continue
        below, above = rising[place + low], rising[place + high]
        if below.failing.isdisjoint(above.failing):
            return (
                f"; no window was found between {below.value:g}, where {why(below)}, and "
                f"{above.value:g}, where {why(above)}"
            )
    return ""


def end(question: SolveForQuestion, tried: list[Judged]) -> str:
    """Say that the end that is sought holds already."""
    least = question.seek == "least"
    if isinstance(question.unknown, AlternativeRange):
        return f"the {'first' if least else 'last'} element of the list holds already"
    further = f"a {'smaller' if least else 'greater'} one may hold, too"
    holding = sum(one.holds for one in tried)
    if holding == len(tried):
        return f"all values tried hold; the value is the end of the range, and {further}"
    return (
        f"the value is the end of the range, and {further}; of the {len(tried)} values tried "
        f"{holding} hold"
    )


def notes(
    question: SolveForQuestion,
    seed: str | None,
    tried: Sequence[Judged],
    found: tuple[Judged, SteadyStateAnswer],
) -> tuple[Note, ...]:
    """Give the notes of the machine under their place in this question, and those of the search."""
    there, machine = found
    moved: dict[str, Note] = {}
    for note in machine.notes:
        known = moved.get(note.text)
        pointer = f"/machine{note.pointer}" if note.pointer else known.pointer if known else ""
        moved[note.text] = Note(code=note.code, text=note.text, pointer=pointer)
    return (*_search_notes(question, seed, tried, there), *moved.values())


def _search_notes(
    question: SolveForQuestion, seed: str | None, tried: Sequence[Judged], there: Judged
) -> Iterator[Note]:
    """Note with what draws chances were counted, and what the value found does not promise."""
    drawn = question.machine.uncertainty
    if drawn is not None and drawn.seed is None:
        yield Note(
            code="seed_of_the_search",
            text=f"Chances are counted in {drawn.draws} draws with the seed {seed} at every value. "
            "Other questions draw with seeds of their own, so `steady-state` may count another "
            "chance for the same machine, as far away as the standard errors say, and another "
            "verdict where a chance is that close to the confidence. Give this seed to both to "
            "compare them.",
            pointer="/machine/uncertainty/seed",
        )
    if not there.holds:
        return
    if not isinstance(question.unknown, AlternativeRange):
        yield from _window(tried, there)
    beside = [one for one in _all_margins(there) if one.criterion.startswith(NOT_SOUGHT)]
    missed = "; ".join(one.criterion for one in beside if one.verdict != "meets")
    if missed:
        yield Note(
            code="margins_not_sought",
            text="The search does not go by these margins, and they are not met at the value "
            f"found: {missed}"[:2000],
        )


def _window(tried: Sequence[Judged], there: Judged) -> Iterator[Note]:
    """Say where it stops holding on the other side of the value found."""
    beyond = tried[tried.index(there) :]
    for last, further in pairwise(beyond):
        if not further.holds:
            low, high = sorted((last.value, further.value))
            yield Note(
                code="holds_in_a_window",
                text=f"It stops holding between {low:g} and {high:g}: at "
                f"{further.value:g} {why(further)}"[:2000],
                pointer="/unknown",
            )
            return


def _all_margins(there: Judged) -> tuple[Margin, ...]:
    return there.answer.margins if there.answer else ()


def placed(question: SolveForQuestion, change: Change, one: Judged, fault: Fault) -> Fault:
    """Give a fault of the machine at some value the place that it has in the question."""
    steps = [str(step) for step in fault.path]
    for pointer in change.pointers:
        way = pointer[1:].split("/")
        if steps[: len(way)] != way:
            continue
        if isinstance(question.unknown, AlternativeRange):
            rest = ("elements", int(one.value), *fault.path[len(way) :])
        else:
            rest = ("lowest" if question.seek == "least" else "highest",)
        return Fault(("unknown", *rest), fault.detail)
    return Fault(("machine", *fault.path), fault.detail)
