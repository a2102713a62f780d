"""How far a sweep's stream has come, over all connections that it took."""

from collections import Counter

import msgspec

from loopmargin.records import Block
from loopmargin_wire.sweep import PackedBlock, SweepEnd, SweepHead

FLOAT_BYTES = 8


class Progress:
    """Checks that records continue what has come, and counts it.

    Records that do not continue it raise `msgspec.ValidationError`.
    """

    def __init__(self, first_case: int) -> None:
        self.first_case = first_case
        self.next_case = first_case
        self._head: SweepHead | None = None
        self._statuses: Counter[str] = Counter()
        self._holding = 0

    @property
    def complete(self) -> bool:
        """Whether every case has come."""
        return self._head is not None and self.next_case == self._head.cases

    def begin(self, head: SweepHead) -> bool:
        """Take the head of a stream; true when it is the first one."""
        require(
            head.first_case == self.next_case < head.cases,
            f"The stream begins with case {head.first_case} of {head.cases} where"
            f" {self.next_case} was asked for",
        )
        first = self._head is None
        self._head = self._head or head
        require(
            (head.digest, head.cases, head.statuses, head.columns)
            == (self._head.digest, self._head.cases, self._head.statuses, self._head.columns),
            f"The stream was cut, and the service now gives other numbers (edition {head.edition},"
            f" before {self._head.edition}); what has come does not go with them, so begin anew",
        )
        return first

    def add(self, block: Block) -> None:
        """Take a block."""
        head = self._begun()
        count = len(block.status)
        require(
            block.first_case == self.next_case and 0 < count <= head.cases - self.next_case,
            f"A block of {count} cases from case {block.first_case} on does not follow"
            f" case {self.next_case - 1} of {head.cases}",
        )
        each = FLOAT_BYTES * count if isinstance(block, PackedBlock) else count
        require(
            len(block.holds) == count
            and len(block.columns) == len(head.columns)
            and all(len(column) == each for column in block.columns),
            f"The block from case {block.first_case} on is not as wide or as long as it says",
        )
        self._statuses.update(counts(block, head))
        self._holding += sum(block.holds)
        self.next_case += count

    def require_complete(self) -> None:
        """Refuse an end that comes too early."""
        require(self.complete, f"The stream ends before case {self.next_case}")

    def end(self) -> SweepEnd:
        """Give the last record, which counts all cases whatever connection brought them."""
        return SweepEnd(
            cases_sent=self.next_case - self.first_case,
            settled=self._statuses["settled"],
            outside_validity=self._statuses["outside_validity"],
            not_converged=self._statuses["not_converged"],
            refused=self._statuses["refused"],
            worker_lost=self._statuses["worker_lost"],
            holding=self._holding,
        )

    def _begun(self) -> SweepHead:
        if self._head is None:
            raise msgspec.ValidationError("The stream does not begin with its head")
        return self._head


def counts(block: Block, head: SweepHead) -> dict[str, int]:
    """Count the cases of each status."""
    if not isinstance(block, PackedBlock):
        return Counter(block.status)
    require(max(block.status) < len(head.statuses), "A block numbers a status without a word")
    return {word: block.status.count(number) for number, word in enumerate(head.statuses)}


def require(met: bool, said: str) -> None:  # noqa: FBT001 - a condition
    """Refuse what does not fit."""
    if not met:
        raise msgspec.ValidationError(said)
