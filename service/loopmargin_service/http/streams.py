"""A sweep as a stream of records: a head, its cases block by block, and an end.

Refusals come before the stream, as problems. Once it runs, what goes wrong is its last
record, and a stream without a last record was cut. A caller who leaves ends everything; one
who reads slowly holds up what follows.
"""

import asyncio
from collections.abc import AsyncIterator, Awaitable, Iterator
from typing import NamedTuple

from litestar.types import Receive, Scope, Send
from msgspec import Struct

from loopmargin_service.http.chunks import Chunks, Job
from loopmargin_service.http.deadline import Attended, Deadline, deadline
from loopmargin_service.http.decode import Reader
from loopmargin_service.http.digest import canonical, digest
from loopmargin_service.http.media import (
    ClientGoneError,
    asked,
    body_media,
    read_body,
    require_no_query,
)
from loopmargin_service.http.meters import Meters
from loopmargin_service.http.problems import BUSY, instance, told
from loopmargin_service.http.purse import Purse
from loopmargin_service.http.quotas import allowance_of
from loopmargin_service.http.reply import Asking, Header
from loopmargin_service.http.responding import problem_of
from loopmargin_service.http.settings import Settings
from loopmargin_service.http.stream_media import StreamMedia, stream_media, written
from loopmargin_service.http.turned_away import TurnedAwayError
from loopmargin_service.http.workbench import Workbench
from loopmargin_service.questions import sweep, sweep_chunks, work
from loopmargin_service.questions.edition import EDITION
from loopmargin_wire.sweep import (
    LONGEST_BLOCK,
    PackedBlock,
    SweepBroken,
    SweepEnd,
    SweepHead,
    SweepQuestion,
)

MOST_STREAMS = 4
BACK_IN_S = 5.0
# How long a last record may take to leave. [s]
CLOSE_S = 5.0
_READER = Reader(SweepQuestion)


class Stream(NamedTuple):
    """A stream that is about to be sent."""

    streams: "Streams"
    question: SweepQuestion
    head: SweepHead
    media: StreamMedia
    purse: Purse

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Send it."""
        await self.streams.send(self, scope, receive, send)


class Streams:
    """Answers sweeps by streams, so many at once."""

    def __init__(
        self, chunks: Chunks, settings: Settings, bench: Workbench, meters: Meters
    ) -> None:
        self.open = 0
        self._chunks = chunks
        self._settings = settings
        self._bench = bench
        self._meters = meters

    def wanted(self, request: Asking) -> StreamMedia | None:
        """Tell whether a request asks for a stream, and how it is to be written."""
        return stream_media(asked(request.scope))

    async def reply(self, request: Asking, media: StreamMedia) -> Stream:
        """Read a question and begin its stream, or refuse it."""
        scope = request.scope
        require_no_query(scope)
        header = asked(scope)
        sent = body_media(header)
        body = await read_body(request.receive, self._settings.body_bytes, header.content_length)
        self._require_room()
        limit = deadline(header.prefer, self._settings.deadline_s)
        async with Attended(request.receive, limit, self._overrun):
            question, _ = canonical(_READER.read(body, sent))
            purse = Purse(allowance_of(scope))
            await purse.ahead(sweep_chunks.first_s(question))
            name = digest("sweep cases", EDITION, canonical(sweep.same_cases(question))[1])
            head = await self._bench.quick.run(
                work.machine(question.machine), limit, sweep.head, question, name
            )
        return Stream(self, question, head, media, purse)

    async def send(self, stream: Stream, scope: Scope, receive: Receive, send: Send) -> None:
        """Send a stream to its end, or to what ends it.

        Others may have begun since there was room for this one, so that is looked at again.
        """
        self._require_room()
        self.open += 1
        limit = Deadline(
            self._settings.stream_s,
            asyncio.get_running_loop().time() + self._settings.stream_s,
        )
        sending = _Sending(stream, send)
        try:
            async with Attended(receive, limit, self._overrun):
                await sending.begin()
                await sending.blocks(self._blocks(stream))
            await sending.close(sending.end())
        except ClientGoneError:
            raise
        except Exception as error:  # noqa: BLE001 - the stream has begun, so its last record says it
            problem = told(problem_of(error, scope), instance(scope))
            await _soon(sending.close(SweepBroken(next_case=sending.next_case, problem=problem)))
        finally:
            self.open -= 1

    def _require_room(self) -> None:
        """Turn a stream away while as many as may be are being sent."""
        if self.open >= MOST_STREAMS:
            self._meters.refused.add("queue_full")
            detail = f"{self.open} sweeps are being sent already; ask again in a while."
            raise TurnedAwayError(BUSY, detail, BACK_IN_S)

    async def _blocks(self, stream: Stream) -> AsyncIterator[PackedBlock]:
        """Give the cases in blocks, as fast as the caller's quota allows."""
        job = Job(stream.question, stream.head.digest, stream.purse.pay)
        parts = self._chunks.of(job)
        try:
            async for part in parts:
                for block in _cut(part):
                    yield block
                    # Other callers have their turn between two blocks.
                    await asyncio.sleep(0)
        finally:
            await parts.aclose()  # type: ignore[attr-defined]

    def _overrun(self) -> None:
        self._meters.deadline_overruns.add("sweep")


class _Sending:
    """Writes records, and counts what has been sent."""

    def __init__(self, stream: Stream, send: Send) -> None:
        self.tally = [0] * len(stream.head.statuses)
        self.holding = 0
        self.next_case = stream.question.first_case
        self._stream = stream
        self._send = send

    async def begin(self) -> None:
        """Send the head."""
        headers: list[Header] = [
            (b"content-type", self._stream.media.value.encode()),
            (b"cache-control", b"no-store"),
            (b"vary", b"accept"),
        ]
        await self._send({"type": "http.response.start", "status": 200, "headers": headers})
        await self._write(self._stream.head, more=True)

    async def blocks(self, parts: AsyncIterator[PackedBlock]) -> None:
        """Send all blocks."""
        binary = self._stream.media is StreamMedia.MSGPACK
        try:
            async for part in parts:
                await self._write(part if binary else sweep.spelled(part), more=True)
                for status in range(len(self.tally)):
                    self.tally[status] += part.status.count(status)
                self.holding += part.holds.count(1)
                self.next_case = part.first_case + len(part.status)
        finally:
            await parts.aclose()  # type: ignore[attr-defined]

    def end(self) -> SweepEnd:
        """Give the last record of a stream that holds every case."""
        if self.next_case != self._stream.head.cases:
            raise RuntimeError(f"case {self.next_case} is missing")
        return sweep.end(self.tally, self.holding)

    async def close(self, record: Struct) -> None:
        """Send the last record."""
        await self._write(record, more=False)

    async def _write(self, record: Struct, *, more: bool) -> None:
        body = written(record, self._stream.media)
        await self._send({"type": "http.response.body", "body": body, "more_body": more})


def _cut(part: PackedBlock) -> Iterator[PackedBlock]:
    """Cut a chunk where blocks begin."""
    last = part.first_case + len(part.status)
    first = part.first_case
    while first < last:
        until = min(last, first - first % LONGEST_BLOCK + LONGEST_BLOCK)
        yield sweep.cut(part, first, until)
        first = until


async def _soon(closing: Awaitable[None]) -> None:
    """Close a stream, unless its caller has stopped reading."""
    try:
        async with asyncio.timeout(CLOSE_S):
            await closing
    except TimeoutError:
        raise ClientGoneError from None
