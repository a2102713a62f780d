"""A small question for tests of the HTTP layer, and a table with it alone."""

from typing import Annotated, Literal

from msgspec import Meta

from loopmargin_service.http.routes import Route
from loopmargin_service.questions.edition import EDITION
from loopmargin_service.questions.refusals import Fault, Refusal
from loopmargin_wire.answer import Answer, Outcome, Question, State, Status
from loopmargin_wire.part import Part
from loopmargin_wire.quantity import Name, Number, quantity, whole

Edge = Annotated[float, quantity("mm", -100.0, 1000.0, "Edge of the parcel")]


class Paper(Part, tag_field="kind", tag="paper", frozen=True, kw_only=True):
    """Wrapped in paper."""

    layers: Annotated[int, whole(1, 9, "Layers")] = 1


class Crate(Part, tag_field="kind", tag="crate", frozen=True, kw_only=True):
    """Nailed into a crate."""

    wall_mm: Edge


class ParcelQuestion(Question, frozen=True, kw_only=True):
    """How long are the edges together?"""

    label: Name = "parcel"
    edges_mm: Annotated[tuple[Edge, ...], Meta(min_length=1, max_length=5)]
    wrapping: Paper | Crate = Paper()
    inner: Crate | None = None
    fragile: bool = False
    mood: Literal["well", "contrary", "broken", "nan", "numpy", "beyond", "restless"] = "well"


class ParcelState(State, frozen=True, kw_only=True):
    """What came out."""

    total_mm: Annotated[float, quantity("mm", -1e4, 1e4, "Edges together")]
    spare: Number | None = None


class ParcelAnswer(Answer, frozen=True, kw_only=True):
    """The edges together."""

    question: ParcelQuestion
    state: ParcelState | None


class Counter:
    """Answers parcels and counts how often it had to."""

    def __init__(self) -> None:
        self.calls = 0

    def answer(self, question: ParcelQuestion) -> ParcelAnswer:
        """Add the edges up, or misbehave as the question wishes."""
        self.calls += 1
        total = float(sum(question.edges_mm))
        match question.mood:
            case "contrary":
                raise Refusal(Fault(("edges_mm", 0), "edges_mm[0] contradicts label; drop one."))
            case "broken":
                raise ZeroDivisionError
            case "beyond":
                total = 1e9
        status: Status = "not_converged" if question.mood == "restless" else "solved"
        spare = float("nan") if question.mood == "nan" else None
        return ParcelAnswer(
            edition=EDITION,
            outcome=Outcome(status=status),
            margins=(),
            basis=(),
            notes=(),
            cautions=(),
            question=question,
            state=ParcelState(total_mm=total, spare=spare),
        )


def parcel_routes(counter: Counter) -> tuple[Route, ...]:
    """Give the table with the parcel question alone."""
    return (
        Route(
            "parcel",
            ParcelQuestion,
            ParcelAnswer,
            counter.answer,
            "cooling",
            "Edges of a parcel",
            assumes="Nothing.",
            method="A sum.",
            validity="Always.",
        ),
    )
