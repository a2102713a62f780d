"""One sweep as a stream, from its first attempt to its last record, without input or output.

As with `exchange`, a generator says what to do and a driver of a few lines does it:

    streaming               driver
    yield Send(...)    ->   hangs up what is open, sends, reads the header
                       <-   Arrival without a body, or the exception that stopped it
    yield Read(3.2)    ->   reads a piece of the body
                       <-   bytes, none at the end, or the exception
    yield Pause(2.1)   ->   sleeps
    yield Deliver(...) ->   hands a record to the caller

A stream that was cut is asked for again from the first case that did not come.
"""

from collections.abc import Generator
from dataclasses import dataclass, replace
from http import HTTPStatus
from typing import TypeVar

import httpx
import msgspec

from loopmargin.body import PROBLEM_TYPE, encoded
from loopmargin.clock import Clock
from loopmargin.errors import LoopmarginError, NotUnderstood
from loopmargin.exchange import Patience, attempt_at, out_of_time
from loopmargin.failure import failure_of, not_understood
from loopmargin.message import Arrival, Call, Pause, Send
from loopmargin.options import Headers, Options
from loopmargin.progress import Progress
from loopmargin.records import STREAM_TYPES, Block, Records, StreamRecord
from loopmargin.retry import RetryBudget
from loopmargin.routes import SWEEP
from loopmargin_wire.sweep import SweepBroken, SweepEnd, SweepHead, SweepQuestion

LONGEST_PROBLEM_BYTES = 2**20


@dataclass(frozen=True)
class Read:
    """Read one piece of the body within some seconds."""

    limit_s: float


@dataclass(frozen=True)
class Deliver:
    """A record for the caller."""

    record: StreamRecord


class Broken(Arrival):
    """The last record of a stream, as the refusal that it would have been before the stream."""


R = TypeVar("R")
Stopped = httpx.RequestError | TimeoutError
Heard = Arrival | bytes | Stopped | None
Step = Send | Read | Pause | Deliver
Steps = Generator[Step, Heard, R]


class Streaming:
    """The stream of one question."""

    def __init__(
        self, question: SweepQuestion, options: Options, budget: RetryBudget, clock: Clock
    ) -> None:
        self._question = question
        self._options = options
        self._budget = budget
        self._clock = clock
        self._patience = Patience(options, budget, clock)
        self._progress = Progress(question.first_case)

    def steps(self) -> Steps[None]:
        """Say what to do until every case has come, or raise."""
        self._patience.begin()
        while not self._progress.complete:
            begun_at = self._progress.next_case
            outcome = yield from self._attempt()
            if outcome is not None and not self._progress.complete:
                moved = self._progress.next_case > begun_at
                yield from self._again(outcome, moved=moved)
        yield Deliver(self._progress.end())

    def _attempt(self) -> Steps[Arrival | Stopped | None]:
        """Deliver what one connection brings; return what ended it, None for the last record."""
        heard = yield self._send()
        if not isinstance(heard, Arrival):
            return stopped(heard)
        if heard.status != HTTPStatus.OK:
            return (yield from self._refusal(heard))
        if heard.media_type != STREAM_TYPES[self._options.encoding]:
            raise not_understood(heard, self._patience.attempt)
        try:
            return (yield from self._records())
        except (msgspec.DecodeError, UnicodeDecodeError, RecursionError) as error:
            raise self._noted(
                NotUnderstood(
                    f"The stream cannot be read: {error}.",
                    status=heard.status,
                    request_id=heard.request_id,
                    attempts=self._patience.attempt,
                )
            ) from error

    def _send(self) -> Send:
        question = msgspec.structs.replace(self._question, first_case=self._progress.next_case)
        content = encoded(question, self._options.encoding)
        call = Call("POST", f"/v1/{SWEEP.name}", content, SWEEP.answer)
        send = attempt_at(call, self._options, self._patience.next_attempt())
        accept = f"{STREAM_TYPES[self._options.encoding]}, {PROBLEM_TYPE};q=0.9"
        return replace(send, headers=Headers({**send.headers, "accept": accept}))

    def _refusal(self, head: Arrival) -> Steps[Arrival | Stopped]:
        """Read a problem document."""
        body = bytearray()
        ends = self._clock.monotonic() + self._options.timeout
        while piece := (yield from self._piece(ends)):
            if not isinstance(piece, bytes):
                return piece
            body += piece
            if len(body) > LONGEST_PROBLEM_BYTES:
                break
        return replace(head, body=bytes(body))

    def _records(self) -> Steps[Arrival | Stopped | None]:
        """Deliver records until the last one; return what came instead."""
        records = Records(self._options.encoding)
        first = True
        while True:
            record = yield from self._record(records)
            if isinstance(record, Stopped):
                return record
            if isinstance(record, SweepBroken):
                return as_refusal(record)
            if isinstance(record, SweepEnd):
                self._progress.require_complete()
                return None
            if self._fits(record, first=first):
                yield Deliver(record)
                self._patience.progressed()
            first = False

    def _fits(self, record: SweepHead | Block, *, first: bool) -> bool:
        """Take a record; true when the caller has not had it."""
        if isinstance(record, SweepHead) and first:
            return self._progress.begin(record)
        if isinstance(record, SweepHead) or first:
            raise msgspec.ValidationError("A stream has its head once, and first")
        self._progress.add(record)
        return True

    def _record(
        self, records: Records
    ) -> Steps[SweepHead | Block | SweepEnd | SweepBroken | Stopped]:
        """Read until a record is whole."""
        ends = self._clock.monotonic() + self._options.timeout
        while (record := records.next()) is None:
            piece = yield from self._piece(ends)
            if not isinstance(piece, bytes):
                return piece
            if not piece:
                return httpx.RemoteProtocolError("the stream was cut before its last record")
            records.add(piece)
        found: SweepHead | Block | SweepEnd | SweepBroken = record
        return found

    def _piece(self, ends: float) -> Steps[bytes | Stopped]:
        """Read a piece before an instant, and before the patience is over."""
        left_s = min(ends, self._patience.ends) - self._clock.monotonic()
        if left_s <= 0.0:
            return httpx.ReadTimeout("the next record was still coming in")
        heard = yield Read(left_s)
        return heard if isinstance(heard, bytes) else stopped(heard)

    def _again(self, outcome: Arrival | Stopped, *, moved: bool) -> Steps[None]:
        """Wait before the stream is taken up, or raise."""
        failure = failure_of(outcome, self._patience.attempt, self._options, self._clock.wall())
        if moved:
            # What goes on from another case is another question.
            self._budget.earn(self._clock.monotonic())
        # A stream's time may have gone into waiting, unlike that of a question.
        hopeless = out_of_time(failure) and not isinstance(outcome, Broken)
        yield from self._patience.again(outcome, self._noted(failure), hopeless=hopeless)

    def _noted(self, failure: LoopmarginError) -> LoopmarginError:
        """Say where the stream stopped."""
        case = self._progress.next_case
        if case > self._question.first_case:
            failure.add_note(f"The cases before {case} have come; first_case={case} goes on there.")
        return failure


def as_refusal(broken: SweepBroken) -> Broken:
    """Read a last record as a refusal."""
    headers = httpx.Headers({"content-type": PROBLEM_TYPE})
    return Broken(broken.problem.status, headers, msgspec.json.encode(broken.problem))


def stopped(heard: Heard) -> Stopped:
    """Narrow what a driver says after a request or a read that went wrong."""
    if not isinstance(heard, Stopped):
        raise TypeError(f"A driver answers with a response or an error, not {type(heard).__name__}")
    return heard
