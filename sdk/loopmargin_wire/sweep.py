"""`sweep`: one machine over a grid of settings, answered as columns.

A grid of up to 20 000 cases is answered whole. A larger one, up to a million, is sent as a
stream of records: a `SweepHead`, blocks of cases in their order, and a `SweepEnd`. A stream
without its end was cut; it is taken up again with `first_case`.
"""

from typing import Annotated, Literal

from msgspec import Meta

from loopmargin_wire.answer import Answer, Basis, Note, Question, State
from loopmargin_wire.part import Part
from loopmargin_wire.problem import Problem
from loopmargin_wire.quantity import Confidence, Count, Number, Text, quantity, whole, words
from loopmargin_wire.steady_state import MachineElement, SteadyStateQuestion
from loopmargin_wire.uncertainty import Seed

MOST_CASES = 1_000_000
MOST_WHOLE_CASES = 20_000
LONGEST_BLOCK = 1000
MOST_COLUMNS = 1500
# Cases times draws.
MOST_DRAWN = 10_000_000

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
CaseStatus = Literal["settled", "outside_validity", "not_converged", "refused", "worker_lost"]


AxisName = Annotated[str, Meta(min_length=1, max_length=200, description="What was varied.")]


class FieldAxis(Part, tag_field="kind", tag="field", frozen=True, kw_only=True):
    """One numeric field of the machine, by JSON Pointer from the machine down."""

    pointer: FieldPointer
    values: Annotated[tuple[AxisValue, ...], Meta(min_length=1, max_length=1000)]


class FactorAxis(Part, tag_field="kind", tag="factor", frozen=True, kw_only=True):
    """A factor on a group of fields: every fan speed, every pump speed or every part's power."""

    of: Annotated[
        Literal["fan_speeds", "pump_speeds", "part_powers"], words("What the factor scales")
    ]
    values: Annotated[
        tuple[Annotated[float, quantity("1", 0.05, 5.0, "Factor on each of them")], ...],
        Meta(min_length=1, max_length=1000),
    ]


class AlternativeAxis(Part, tag_field="kind", tag="alternative", frozen=True, kw_only=True):
    """Whole elements put in one place in turn: other radiators with their fans, other blocks.

    `pointer` leads to an element of a branch, such as /branches/0/elements/6.
    """

    pointer: FieldPointer
    elements: Annotated[tuple[MachineElement, ...], Meta(min_length=1, max_length=100)]


Axis = FieldAxis | FactorAxis | AlternativeAxis


class SweepQuestion(Question, frozen=True, kw_only=True):
    """How does the machine settle over a grid of settings?

    Cases run through the last axis first. A grid of more than `case_limit` cases is refused
    before anything is solved. A whole answer holds up to 20 000 cases; more are asked for as
    a stream, by the Accept header. `first_case` takes up a stream that was cut; a whole answer
    begins with case 0.

    Without `draws` cases stand at best estimate, and `uncertainty` of the machine is not used.
    With `draws` so many machines are drawn about every case, by the machine's `uncertainty`
    (whose own number of draws does not count here) and with the same random numbers for each:
    further columns give standard uncertainty and interval of each quantity, the chance of each
    limit, and the chance that all hold together. Cases times draws are at most 10 000 000.
    """

    machine: SteadyStateQuestion
    axes: Annotated[tuple[Axis, ...], Meta(min_length=1, max_length=4)]
    case_limit: Annotated[int, whole(1, MOST_CASES, "Largest number of cases wanted")] = 20_000
    first_case: Annotated[int, whole(0, MOST_CASES, "Case that a stream begins with")] = 0
    draws: Annotated[int, whole(200, 20_000, "Machines drawn about each case")] | None = None


class CaseDraws(State, frozen=True, kw_only=True):
    """How machines were drawn about the cases: with the same random numbers for every one.

    `steady-state`, asked about the machine of a case with so many draws and this seed, gives the
    same numbers, and the budget of their causes. Intervals hold the confidence.
    """

    draws: Count
    seed: Seed
    confidence: Confidence


class Column(State, frozen=True, kw_only=True):
    """One quantity over all cases; null where a case did not settle."""

    name: Annotated[str, Meta(min_length=1, max_length=80)]
    unit: Annotated[str, Meta(max_length=16)]
    values: Annotated[tuple[Number | None, ...], Meta(max_length=MOST_WHOLE_CASES)]


class CaseFault(State, frozen=True, kw_only=True):
    """Why one case has no numbers."""

    case: Count
    reason: Text


class Grid(State, frozen=True, kw_only=True):
    """All cases as columns; `holds` says whether coolant, parts and flow are within limits.

    With draws a quantity has the columns `… standard_uncertainty`, `… low` and `… high`, and
    what has a limit `… chance`. `holds chance` is the chance that all limits hold together.
    `settled_share` is the share of draws that have an answer inside the range of the laws:
    chances count the others as failing, spreads leave them out.
    """

    shape: Annotated[tuple[Count, ...], Meta(max_length=4)]
    axes: Annotated[tuple[AxisName, ...], Meta(max_length=4)]
    status: Annotated[tuple[CaseStatus, ...], Meta(max_length=MOST_WHOLE_CASES)]
    holds: Annotated[tuple[bool, ...], Meta(max_length=MOST_WHOLE_CASES)]
    columns: Annotated[tuple[Column, ...], Meta(max_length=MOST_COLUMNS)]
    faults: Annotated[tuple[CaseFault, ...], Meta(max_length=100)]
    drawn: CaseDraws | None = None


class SweepAnswer(Answer, frozen=True, kw_only=True):
    """Columns over the grid, each case with its own status; a bad case spoils no other.

    With `Accept: application/x-ndjson` the cases come as a stream instead, one record a line: a
    `SweepHead`, blocks in the order of the cases, and a `SweepEnd`, or a `SweepBroken` that says
    why and where to go on. With `application/x-msgpack-stream` each record is msgpack inside a
    msgpack `bin 32`, and blocks are binary columns. A stream without a last record was cut.
    """

    question: SweepQuestion
    state: Grid


class ColumnHead(State, frozen=True, kw_only=True):
    """Name and unit of one column of every block."""

    name: Annotated[str, Meta(min_length=1, max_length=80)]
    unit: Annotated[str, Meta(max_length=16)]


class SweepHead(State, tag_field="kind", tag="head", frozen=True, kw_only=True):
    """First record of a stream: what the blocks hold.

    Two streams under one `digest` hold the same numbers, so that one can take up where the
    other was cut. `statuses` gives the words that packed blocks number from 0.
    """

    edition: Annotated[str, Meta(max_length=32, description="Edition of the numbers.")]
    digest: Annotated[str, Meta(max_length=64, description="Name of machine, axes and draws.")]
    shape: Annotated[tuple[Count, ...], Meta(max_length=4)]
    axes: Annotated[tuple[AxisName, ...], Meta(max_length=4)]
    cases: Count
    first_case: Count
    block_cases: Count
    statuses: Annotated[tuple[CaseStatus, ...], Meta(max_length=16)]
    columns: Annotated[tuple[ColumnHead, ...], Meta(max_length=MOST_COLUMNS)]
    basis: Annotated[tuple[Basis, ...], Meta(max_length=100)]
    notes: Annotated[tuple[Note, ...], Meta(max_length=1000)]
    cautions: Annotated[tuple[Text, ...], Meta(max_length=50)]
    question: SweepQuestion
    drawn: CaseDraws | None = None


class SweepBlock(State, tag_field="kind", tag="block", frozen=True, kw_only=True):
    """Cases that follow each other, as columns in the order of the head; null is no number."""

    first_case: Count
    status: Annotated[tuple[CaseStatus, ...], Meta(max_length=LONGEST_BLOCK)]
    holds: Annotated[tuple[bool, ...], Meta(max_length=LONGEST_BLOCK)]
    columns: Annotated[
        tuple[Annotated[tuple[Number | None, ...], Meta(max_length=LONGEST_BLOCK)], ...],
        Meta(max_length=MOST_COLUMNS),
    ]
    faults: Annotated[tuple[CaseFault, ...], Meta(max_length=100)] = ()


class PackedBlock(State, tag_field="kind", tag="packed_block", frozen=True, kw_only=True):
    """The same cases in binary: a byte for each status and each `holds`, and columns of floats.

    `status` numbers the words of the head. `holds` is 0 or 1. A column is IEEE 754 double
    precision, least significant byte first; NaN stands where there is no number.
    """

    first_case: Count
    status: Annotated[bytes, Meta(max_length=LONGEST_BLOCK)]
    holds: Annotated[bytes, Meta(max_length=LONGEST_BLOCK)]
    columns: Annotated[
        tuple[Annotated[bytes, Meta(max_length=8 * LONGEST_BLOCK)], ...],
        Meta(max_length=MOST_COLUMNS),
    ]
    faults: Annotated[tuple[CaseFault, ...], Meta(max_length=100)] = ()


class SweepEnd(State, tag_field="kind", tag="end", frozen=True, kw_only=True):
    """Last record of a stream that is complete: what the cases sent have come to."""

    cases_sent: Count
    settled: Count
    outside_validity: Count
    not_converged: Count
    refused: Count
    worker_lost: Count
    holding: Count


class SweepBroken(State, tag_field="kind", tag="broken", frozen=True, kw_only=True):
    """Last record of a stream that cannot go on: why, and where to take it up."""

    next_case: Count
    problem: Problem


SweepRecord = SweepHead | SweepBlock | SweepEnd | SweepBroken
PackedSweepRecord = SweepHead | PackedBlock | SweepEnd | SweepBroken
