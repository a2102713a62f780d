"""The table of questions: one row for each, from which paths, documents and pages follow."""

from collections.abc import Callable
from typing import Any, NamedTuple

from loopmargin_service.questions import supply_headroom
from loopmargin_wire.answer import Answer, Question
from loopmargin_wire.supply_headroom import SupplyHeadroomAnswer, SupplyHeadroomQuestion


class Route(NamedTuple):
    """One question: its name on the path, its types, who answers it, and what to say of it."""

    name: str
    question: type[Question]
    answer: type[Answer]
    compute: Callable[[Any], Answer]
    tag: str
    summary: str
    description: str

    @property
    def path(self) -> str:
        """Path that the question is posted to."""
        return f"/v1/{self.name}"


ROUTES: tuple[Route, ...] = (
    Route(
        "supply-headroom",
        SupplyHeadroomQuestion,
        SupplyHeadroomAnswer,
        supply_headroom.answer,
        "supply",
        "",
        "",
    ),
)
