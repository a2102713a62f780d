"""Streams of a stand-in: six invented cases in blocks of two, cut or spoilt where a test wants."""

import asyncio
from collections.abc import AsyncIterator, Callable, Iterator, Sequence
from contextlib import aclosing
from typing import Any, Unpack

import httpx
import msgspec

import loopmargin
from loopmargin.options import OptionChanges
from loopmargin.records import StreamRecord
from loopmargin_wire.problem import Problem
from loopmargin_wire.sweep import (
    ColumnHead,
    SweepBlock,
    SweepBroken,
    SweepEnd,
    SweepHead,
    SweepQuestion,
)
from tests.unit.questions.swept import FANS, asked
from tests.unit.sdk.standin import Service, Time

CASES = 6
NDJSON = "application/x-ndjson"
QUESTION = asked({**FANS, "values": [0.4, 0.5, 0.6, 0.7, 0.8, 0.9]}, case_limit=CASES)


def line(record: msgspec.Struct) -> bytes:
    """Write a record in JSON."""
    return msgspec.json.encode(record) + b"\n"


def head(first_case: int = 0, **changed: Any) -> bytes:  # noqa: ANN401 - fields of the record
    """Write the head of a stream from a case on."""
    record = SweepHead(
        edition="invented",
        digest="same numbers",
        shape=(CASES,),
        axes=("fan speeds",),
        cases=CASES,
        first_case=first_case,
        block_cases=2,
        statuses=("settled", "outside_validity", "not_converged", "refused", "worker_lost"),
        columns=(ColumnHead(name="flow", unit="L/min"),),
        basis=(),
        notes=(),
        cautions=(),
        question=QUESTION,
    )
    return line(msgspec.structs.replace(record, **changed))


def block(first_case: int, **changed: Any) -> bytes:  # noqa: ANN401 - fields of the record
    """Write two cases, of which the second has no number."""
    record = SweepBlock(
        first_case=first_case,
        status=("settled", "refused"),
        holds=(True, False),
        columns=((float(first_case), None),),
    )
    return line(msgspec.structs.replace(record, **changed))


def end(cases: int = CASES) -> bytes:
    """Write the last record of a stream of so many cases."""
    half = cases // 2
    record = SweepEnd(
        cases_sent=cases,
        settled=half,
        outside_validity=0,
        not_converged=0,
        refused=half,
        worker_lost=0,
        holding=half,
    )
    return line(record)


def broken(next_case: int, status: int, kind: str = "/problems/x") -> bytes:
    """Write a last record that says why there is no more."""
    problem = Problem(type=kind, title="Broken", status=status, detail="Later.", instance="ab-2")
    return line(SweepBroken(next_case=next_case, problem=problem))


def rest(first_case: int = 0) -> list[bytes]:
    """Write a whole stream from a case on."""
    starts = range(first_case, CASES, 2)
    return [head(first_case), *map(block, starts), end(CASES - first_case)]


def plain(records: list[Any]) -> list[Any]:
    """Write records as JSON would say them."""
    return [msgspec.json.decode(msgspec.json.encode(record)) for record in records]


RESET = httpx.ReadError("reset")
WHOLE = [msgspec.json.decode(record) for record in rest()]


class Body(httpx.SyncByteStream, httpx.AsyncByteStream):
    """A body in pieces; an exception among them is what happens there."""

    def __init__(self, pieces: Sequence[bytes | Exception]) -> None:
        self.pieces = pieces
        self.given = 0
        self.closed = False

    def __iter__(self) -> Iterator[bytes]:
        """Give the pieces."""
        for piece in self.pieces:
            if isinstance(piece, Exception):
                raise piece
            self.given += 1
            yield piece

    async def __aiter__(self) -> AsyncIterator[bytes]:
        """Give the pieces."""
        for piece in self:
            yield piece

    def close(self) -> None:
        """Be closed."""
        self.closed = True

    async def aclose(self) -> None:
        """Be closed."""
        self.closed = True


def streamed(*pieces: bytes | Exception, media: str = NDJSON) -> "Streamed":
    """Answer with a stream."""
    return Streamed(Body(pieces), media)


class Streamed:
    """A step of a stand-in's script that answers with a stream."""

    def __init__(self, body: Body, media: str) -> None:
        self.body = body
        self.media = media

    def __call__(self, _request: httpx.Request) -> httpx.Response:
        """Answer."""
        return httpx.Response(200, headers={"content-type": self.media}, stream=self.body)


def first_cases(service: Service) -> list[int]:
    """Tell where each request wanted to begin."""
    bodies = [msgspec.json.decode(request.content) for request in service.requests]
    return [body.get("first_case", 0) for body in bodies]


Take = Callable[..., list[StreamRecord]]


def take_blocking(
    service: Service,
    time: Time | None = None,
    question: SweepQuestion = QUESTION,
    most: int = 100,
    **options: Unpack[OptionChanges],
) -> list[StreamRecord]:
    """Read records through the blocking client, leaving after so many."""
    taken: list[StreamRecord] = []
    with httpx.Client(transport=httpx.MockTransport(service)) as http:
        clock = (time or Time()).clock
        client = loopmargin.Client("http://stand.in", http_client=http, clock=clock, **options)
        stream = client.sweep_stream(question)
        for record in stream:
            taken.append(record)
            if len(taken) == most:
                stream.close()
    return taken


def take_asynchronous(
    service: Service,
    time: Time | None = None,
    question: SweepQuestion = QUESTION,
    most: int = 100,
    **options: Unpack[OptionChanges],
) -> list[StreamRecord]:
    """Read records through the asynchronous client, leaving after so many."""
    clock = (time or Time()).clock

    async def take() -> list[StreamRecord]:
        taken: list[StreamRecord] = []
        async with httpx.AsyncClient(transport=httpx.MockTransport(service)) as http:
            client = loopmargin.AsyncClient(
                "http://stand.in", http_client=http, clock=clock, **options
            )
            async with aclosing(client.sweep_stream(question)) as stream:
                async for record in stream:
                    taken.append(record)
                    if len(taken) == most:
                        break
        return taken

    return asyncio.run(take())
