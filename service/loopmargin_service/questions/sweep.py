"""`sweep`: one machine over a grid of settings, whole or block by block."""

import msgspec
import numpy as np

from loopmargin_service.physics.network import Array
from loopmargin_service.questions import (
    steady_state,
    sweep_axes,
    sweep_cases,
    sweep_draws,
    sweep_plan,
    wording,
)
from loopmargin_service.questions.edition import EDITION
from loopmargin_service.questions.sweep_cases import LOST, STATUSES, Block
from loopmargin_service.questions.sweep_plan import Plan
from loopmargin_wire.answer import Note, Outcome
from loopmargin_wire.steady_state import SteadyStateAnswer
from loopmargin_wire.sweep import (
    LONGEST_BLOCK,
    MOST_CASES,
    CaseDraws,
    CaseFault,
    Column,
    ColumnHead,
    FieldAxis,
    Grid,
    PackedBlock,
    SweepAnswer,
    SweepBlock,
    SweepEnd,
    SweepHead,
    SweepQuestion,
)

FLOAT = np.dtype("<f8")
DIED = "every process that solved this case died; it may need more memory than there is"
TOO_LONG = (
    "this case took far longer than any should and was given up; ask for it alone, or change it"
)
NOTES = (wording.AIR_FLOW_NOTE, wording.NO_LOOP_LOSS_NOTE)


def answer(question: SweepQuestion) -> SweepAnswer:
    """Solve the whole grid."""
    laid = sweep_plan.plan(question)
    sweep_axes.require_whole(question, laid.cases)
    block = sweep_cases.solve(question, 0, laid.cases)
    plain, drawn = _alone(question), sweep_draws.stated(question)
    return SweepAnswer(
        edition=EDITION,
        outcome=Outcome(status="solved"),
        margins=(),
        basis=plain.basis,
        notes=_notes(drawn),
        cautions=plain.cautions,
        question=question,
        state=_grid(laid, block, drawn),
    )


def head(question: SweepQuestion, digest: str) -> SweepHead:
    """Begin a stream of the grid, with every refusal that it deserves."""
    laid = sweep_plan.plan(question)
    plain, drawn = _alone(question), sweep_draws.stated(question)
    return SweepHead(
        edition=EDITION,
        digest=digest,
        shape=laid.shape,
        axes=tuple(axis.name for axis in laid.axes),
        cases=laid.cases,
        first_case=question.first_case,
        block_cases=LONGEST_BLOCK,
        statuses=STATUSES,
        columns=tuple(ColumnHead(name=name, unit=unit) for name, unit in laid.columns),
        basis=plain.basis,
        notes=_notes(drawn),
        cautions=plain.cautions,
        question=question,
        drawn=drawn,
    )


def _alone(question: SweepQuestion) -> SteadyStateAnswer:
    """Ask the machine that the axes turn, at best estimate, for what every case stands on."""
    return steady_state.answer(msgspec.structs.replace(question.machine, uncertainty=None))


def _notes(drawn: CaseDraws | None) -> tuple[Note, ...]:
    """Note what was assumed, and what the cases say of chances."""
    if drawn is None:
        return (*NOTES, wording.BEST_ESTIMATE_NOTE)
    return (*NOTES, *sweep_draws.notes(drawn))


def same_cases(question: SweepQuestion) -> SweepQuestion:
    """Give the question that all questions with the same cases share."""
    asked = sweep_draws.asked_of(question, question.machine)
    if asked is None and _turns_doubt(question):
        asked = question.machine.uncertainty
    machine = msgspec.structs.replace(question.machine, uncertainty=asked)
    return msgspec.structs.replace(question, machine=machine, first_case=0, case_limit=MOST_CASES)


def _turns_doubt(question: SweepQuestion) -> bool:
    """Tell whether an axis leads to what no case depends on without draws, but has to be there."""
    fields = [axis.pointer for axis in question.axes if isinstance(axis, FieldAxis)]
    return any(pointer.startswith("/uncertainty/") for pointer in fields)


def chunk(question: SweepQuestion, first: int, last: int) -> bytes:
    """Solve some cases and pack them as msgpack; the same bytes in every process."""
    return msgspec.msgpack.encode(_packed(sweep_cases.solve(question, first, last)))


def lost(question: SweepQuestion, case: int, reason: str = DIED) -> bytes:
    """Pack a case that has ended every process it was given to."""
    block = sweep_cases.empty(sweep_plan.plan(question), case, case + 1, LOST)
    return msgspec.msgpack.encode(
        _packed(block._replace(faults=(CaseFault(case=case, reason=reason),)))
    )


def opened(packed: bytes) -> PackedBlock:
    """Open what `chunk` has packed."""
    return msgspec.msgpack.decode(packed, type=_AnyLength).block()


def repeatable(part: PackedBlock) -> bool:
    """Tell whether cases would come out the same again; a lost one depends on where it was."""
    return LOST not in part.status


def joined(parts: list[PackedBlock]) -> bytes:
    """Pack parts that follow each other as one."""
    whole = PackedBlock(
        first_case=parts[0].first_case,
        status=b"".join(part.status for part in parts),
        holds=b"".join(part.holds for part in parts),
        columns=tuple(
            b"".join(rows) for rows in zip(*(part.columns for part in parts), strict=True)
        ),
        faults=tuple(fault for part in parts for fault in part.faults)[: sweep_cases.MOST_FAULTS],
    )
    return msgspec.msgpack.encode(whole)


def cut(part: PackedBlock, first: int, last: int) -> PackedBlock:
    """Take some cases out of a packed block."""
    here = slice(first - part.first_case, last - part.first_case)
    wide = slice(FLOAT.itemsize * here.start, FLOAT.itemsize * here.stop)
    return PackedBlock(
        first_case=first,
        status=part.status[here],
        holds=part.holds[here],
        columns=tuple(column[wide] for column in part.columns),
        faults=tuple(fault for fault in part.faults if first <= fault.case < last),
    )


def spelled(part: PackedBlock) -> SweepBlock:
    """Write a packed block in numbers and words."""
    return SweepBlock(
        first_case=part.first_case,
        status=tuple(map(STATUSES.__getitem__, part.status)),
        holds=tuple(map(bool, part.holds)),
        columns=tuple(_nullable(np.frombuffer(column, FLOAT)) for column in part.columns),
        faults=part.faults,
    )


def end(tally: list[int], holding: int) -> SweepEnd:
    """Close a stream with what its cases have come to, counted by status."""
    counts = dict(zip(STATUSES, tally, strict=True))
    return SweepEnd(cases_sent=sum(tally), holding=holding, **counts)


class _AnyLength(msgspec.Struct, tag_field="kind", tag="packed_block", frozen=True):
    """A packed block as processes hand it over, as long as it may be."""

    first_case: int
    status: bytes
    holds: bytes
    columns: tuple[bytes, ...]
    faults: tuple[CaseFault, ...] = ()

    def block(self) -> PackedBlock:
        """Give it as the wire has it."""
        return PackedBlock(**msgspec.structs.asdict(self))


def _packed(block: Block) -> PackedBlock:
    """Write a block in binary."""
    return PackedBlock(
        first_case=block.first,
        status=block.status.tobytes(),
        holds=block.holds.astype(np.uint8).tobytes(),
        columns=tuple(column.astype(FLOAT).tobytes() for column in block.numbers),
        faults=block.faults,
    )


def _grid(laid: Plan, block: Block, drawn: CaseDraws | None) -> Grid:
    """Put all cases on the wire; what did not settle is null."""
    return Grid(
        shape=laid.shape,
        axes=tuple(axis.name for axis in laid.axes),
        status=tuple(STATUSES[status] for status in block.status),
        holds=tuple(block.holds.tolist()),
        columns=tuple(
            Column(name=name, unit=unit, values=_nullable(values))
            for (name, unit), values in zip(laid.columns, block.numbers, strict=True)
        ),
        faults=block.faults,
        drawn=drawn,
    )


def _nullable(values: Array) -> tuple[float | None, ...]:
    """Give plain floats, with nothing where there is no number."""
    plain = values.tolist()
    if np.isfinite(values).all():
        return tuple(plain)
    return tuple(value if value == value else None for value in plain)  # noqa: PLR0124 - NaN
