"""What every answer carries: outcome, margins, where the numbers come from, cautions."""

from typing import Annotated, Literal

from msgspec import Meta, Struct

from loopmargin_wire.quantity import Count, Number, Share, Text

Verdict = Literal["meets", "tight", "fails"]
Status = Literal["solved", "no_operating_point", "outside_validity", "not_converged"]
Criterion = Annotated[
    str,
    Meta(min_length=1, max_length=80, description="What is compared; the list may grow."),
]


class Question(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What every question shares: unknown fields are refused."""


class State(Struct, frozen=True, kw_only=True):
    """What parts of an answer share: clients ignore fields that they do not know."""


class Margin(Struct, frozen=True, kw_only=True):
    """One criterion: what is demanded, what is available, and what is left over.

    `surplus` is capacity minus demand. `tight` means that the criterion holds at best
    estimate but not with the confidence asked for. Uncertainty and chance are there when cases
    were drawn: the standard deviation of the surplus and the share of draws that keep it above
    zero, with the standard error that so many draws leave in that share.
    """

    criterion: Criterion
    demand: Number
    capacity: Number
    surplus: Number
    unit: Annotated[str, Meta(max_length=16, description="Unit of the three numbers.")]
    verdict: Verdict
    standard_uncertainty: Number | None = None
    chance: Share | None = None
    chance_standard_error: Share | None = None


class Outcome(Struct, frozen=True, kw_only=True):
    """How the calculation ended; a reason and advice when there is no state to report."""

    status: Status
    reason: Annotated[str, Meta(max_length=2000)] = ""
    advice: Annotated[tuple[Text, ...], Meta(max_length=20)] = ()


class Solve(Struct, frozen=True, kw_only=True):
    """How the iteration behind the numbers ended."""

    iterations: Count
    residual: Annotated[Number, Meta(description="Largest relative imbalance left [1]")]


class Basis(Struct, frozen=True, kw_only=True):
    """One law or table that the numbers rest on."""

    quantity: Text
    law: Text
    source: Text


class Note(Struct, frozen=True, kw_only=True):
    """Something valid but near or outside the range of a law, or an assumption made."""

    code: Annotated[str, Meta(min_length=1, max_length=64)]
    text: Text
    pointer: Annotated[
        str,
        Meta(max_length=200, description="JSON Pointer to the field of the question."),
    ] = ""


class Answer(Struct, frozen=True, kw_only=True):
    """What every answer shares; clients ignore fields that they do not know."""

    edition: Annotated[str, Meta(max_length=32, description="Edition of the numbers.")]
    outcome: Outcome
    margins: Annotated[tuple[Margin, ...], Meta(max_length=1000)]
    basis: Annotated[tuple[Basis, ...], Meta(max_length=100)]
    notes: Annotated[tuple[Note, ...], Meta(max_length=1000)]
    cautions: Annotated[tuple[Text, ...], Meta(max_length=50)]
