"""`sweep`: one machine over a grid of settings, answered as columns."""

from typing import Annotated, Literal

from msgspec import Meta

from loopmargin_wire.answer import Answer, Question, State
from loopmargin_wire.part import Part
from loopmargin_wire.quantity import Count, Number, Text, quantity, whole
from loopmargin_wire.steady_state import SteadyStateQuestion

AxisValue = Annotated[float, quantity("unit of the field", -1e6, 1e6, "Value of the field")]
FieldPointer = Annotated[
    str,
    Meta(
        min_length=2,
        max_length=200,
        pattern=r"^(/[A-Za-z0-9_]+)+(?![\s\S])",
        description="JSON Pointer (RFC 6901) into `machine`, such as /pumps/0/speed_rpm.",
        examples=["/room/air_c"],
    ),
]
CaseStatus = Literal["settled", "outside_validity", "not_converged", "refused"]


AxisName = Annotated[str, Meta(min_length=1, max_length=200, description="What was varied.")]


class FieldAxis(Part, tag_field="kind", tag="field", frozen=True, kw_only=True):
    """One numeric field of the machine, by JSON Pointer from the machine down."""

    pointer: FieldPointer
    values: Annotated[tuple[AxisValue, ...], Meta(min_length=1, max_length=500)]


class FactorAxis(Part, tag_field="kind", tag="factor", frozen=True, kw_only=True):
    """A factor on a group of fields: every fan speed, every pump speed or every part's power."""

    of: Literal["fan_speeds", "pump_speeds", "part_powers"]
    values: Annotated[
        tuple[Annotated[float, quantity("1", 0.05, 5.0, "Factor on each of them")], ...],
        Meta(min_length=1, max_length=500),
    ]


Axis = FieldAxis | FactorAxis


class SweepQuestion(Question, frozen=True, kw_only=True):
    """How does the machine settle over a grid of settings?

    Cases run through the last axis first. At most `case_limit` cases are computed; a larger
    grid is refused before anything is solved.
    """

    machine: SteadyStateQuestion
    axes: Annotated[tuple[Axis, ...], Meta(min_length=1, max_length=4)]
    case_limit: Annotated[int, whole(1, 20_000, "Largest number of cases wanted")] = 20_000


class Column(State, frozen=True, kw_only=True):
    """One quantity over all cases; null where a case did not settle."""

    name: Annotated[str, Meta(min_length=1, max_length=80)]
    unit: Annotated[str, Meta(max_length=16)]
    values: Annotated[tuple[Number | None, ...], Meta(max_length=20_000)]


class CaseFault(State, frozen=True, kw_only=True):
    """Why one case has no numbers."""

    case: Count
    reason: Text


class Grid(State, frozen=True, kw_only=True):
    """All cases as columns; `holds` says whether coolant, parts and flow are within limits."""

    shape: Annotated[tuple[Count, ...], Meta(max_length=4)]
    axes: Annotated[tuple[AxisName, ...], Meta(max_length=4)]
    status: Annotated[tuple[CaseStatus, ...], Meta(max_length=20_000)]
    holds: Annotated[tuple[bool, ...], Meta(max_length=20_000)]
    columns: Annotated[tuple[Column, ...], Meta(max_length=100)]
    faults: Annotated[tuple[CaseFault, ...], Meta(max_length=100)]


class SweepAnswer(Answer, frozen=True, kw_only=True):
    """Columns over the grid, each case with its own status; a bad case spoils no other."""

    question: SweepQuestion
    state: Grid
