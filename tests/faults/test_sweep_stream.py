"""Sweeps as streams from a real service, with workers that die and callers who leave."""

import asyncio
import os
import signal

import httpx
import msgspec
import psutil

from loopmargin_service.http.app import create_app
from loopmargin_service.http.settings import Settings
from loopmargin_service.http.streams import MOST_STREAMS
from loopmargin_service.questions import sweep
from loopmargin_wire.sweep import SweepBlock, SweepBroken, SweepEnd, SweepHead
from tests.faults.replica import eventually
from tests.faults.served import served
from tests.faults.service_process import ServiceProcess
from tests.faults.streamed import MSGPACK, NDJSON, question, records

SMALL = question(50, 50)
LARGE = question(300, 300)


def expected(whole: object, last: int) -> bytes:
    """Solve the same cases in this process."""
    assert isinstance(whole, type(SMALL))
    return sweep.chunk(sweep.same_cases(whole), 0, last)


def test_both_encodings_give_every_case_once() -> None:
    """Head, blocks in order, end; the numbers are those of this process."""
    with ServiceProcess() as service:
        with records(service.url, SMALL, MSGPACK) as stream:
            head, *blocks, end = list(stream)
        with records(service.url, SMALL, NDJSON) as stream:
            same, *spelled, same_end = list(stream)

    assert isinstance(head, SweepHead)
    assert same == head
    assert isinstance(end, SweepEnd)
    assert same_end == end
    assert end.cases_sent == head.cases == 2500
    assert [block.first_case for block in blocks] == [0, 1000, 2000]
    assert sweep.joined(blocks) == expected(SMALL, 2500)
    assert [sweep.spelled(block) for block in blocks] == spelled


def test_a_stream_is_taken_up_where_it_was_cut() -> None:
    """From any case on, under the same digest."""
    rest = msgspec.structs.replace(SMALL, first_case=1234)
    with ServiceProcess() as service:
        with records(service.url, SMALL, MSGPACK) as stream:
            digest = next(stream).digest
        with records(service.url, rest, MSGPACK) as stream:
            head, *blocks, end = list(stream)

    assert head.digest == digest
    assert end.cases_sent == 2500 - 1234
    assert sweep.joined(blocks) == sweep.chunk(sweep.same_cases(SMALL), 1234, 2500)


def test_a_worker_killed_under_a_sweep_costs_no_case() -> None:
    """No gap, nothing twice; the bytes are those of an undisturbed one."""
    with ServiceProcess() as service, records(service.url, LARGE, MSGPACK) as stream:
        next(stream)
        first = next(stream)
        for process in psutil.Process(service.process.pid).children(recursive=True):
            if process.status() != psutil.STATUS_ZOMBIE and process.nice() > 3:
                os.kill(process.pid, signal.SIGKILL)
        *blocks, end = [first, *stream]

    assert isinstance(end, SweepEnd)
    assert end.worker_lost == 0
    assert end.cases_sent == 90_000
    assert [block.first_case for block in blocks] == list(range(0, 90_000, 1000))


def test_workers_are_free_soon_after_the_caller_has_left() -> None:
    """Nothing more is solved for nobody."""
    app = create_app(Settings(worker_processes=2))
    workers = app.state.workers
    with served(app) as url:
        with records(url, LARGE) as stream:
            next(stream)
            assert isinstance(next(stream), SweepBlock)
        eventually(lambda: workers.busy == 0 and workers.waiting == 0)
        solved = app.state.chunks.solved

    assert solved < 12


def test_a_caller_who_leaves_a_stream_is_no_mistake() -> None:
    """The log has the request, and nothing that says `error`."""
    with ServiceProcess() as service:
        with records(service.url, LARGE) as stream:
            next(stream)
            next(stream)
        assert service.stop() == 0
        assert service.process.stderr is not None
        told = [msgspec.json.decode(line) for line in service.process.stderr]

    assert "error" not in {row["level"] for row in told}
    assert [row["route"] for row in told if row["event"] == "request"] == ["/v1/sweep"]


def test_streams_that_begin_at_once_find_no_more_room_than_others() -> None:
    """So many are sent; the rest is told when to come back, and nothing else."""

    async def burst(url: str) -> list[httpx.Response]:
        async with httpx.AsyncClient(timeout=120.0) as client:
            headers = {"content-type": "application/json", "accept": NDJSON}
            body = msgspec.json.encode(LARGE)
            ask = client.build_request("POST", f"{url}/v1/sweep", content=body, headers=headers)
            asking = (client.send(ask, stream=True) for _ in range(MOST_STREAMS + 4))
            answers = await asyncio.gather(*asking)
            for answer in answers:
                await answer.aclose()
            return answers

    with ServiceProcess() as service:
        answers = asyncio.run(burst(service.url))

    refused = [answer for answer in answers if answer.status_code == 503]
    assert [answer.status_code for answer in answers].count(200) == MOST_STREAMS
    assert len(refused) == 4
    assert all("retry-after" in answer.headers for answer in refused)


def test_a_stream_that_takes_too_long_says_where_it_stopped() -> None:
    """Its last record names the case to go on with."""
    app = create_app(Settings(worker_processes=1, stream_s=1.0))
    with served(app) as url, records(url, question(1000, 1000)) as stream:
        *_, last = list(stream)

    assert isinstance(last, SweepBroken)
    assert last.problem.status == 504
    assert last.next_case % 1000 == 0


def test_a_service_without_processes_streams_too() -> None:
    """On a thread of its own."""
    with served(create_app(Settings(worker_processes=0))) as url, records(url, SMALL) as stream:
        *_, end = list(stream)

    assert end.cases_sent == 2500
