"""The clients and a real service: sweeps as streams, in both encodings, cut and left early."""

import asyncio
import re
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from msgspec.structs import replace

import loopmargin
from loopmargin.options import Encoding
from loopmargin.records import StreamRecord
from loopmargin_service.http.app import create_app
from loopmargin_service.http.settings import Settings
from loopmargin_service.questions import sweep
from loopmargin_wire.sweep import PackedBlock, SweepEnd, SweepHead, SweepQuestion
from tests.faults.replica import eventually
from tests.faults.served import served
from tests.faults.service_process import ServiceProcess
from tests.faults.streamed import question

SMALL = question(50, 50)
DRAWN = question(7, 6, draws=200)
LARGE = question(300, 300)
ROOT = Path(__file__).parents[2]


@pytest.fixture(scope="module")
def service() -> Iterator[ServiceProcess]:
    """Run one service for all tests that leave it alone."""
    with ServiceProcess() as running:
        yield running


def blocking(url: str, encoding: Encoding, asked: SweepQuestion = SMALL) -> list[StreamRecord]:
    """Read a stream through the blocking client."""
    with loopmargin.Client(url, encoding=encoding) as client:
        return list(client.sweep_stream(asked))


def asynchronous(url: str, encoding: Encoding, asked: SweepQuestion = SMALL) -> list[StreamRecord]:
    """Read a stream through the asynchronous client."""

    async def take() -> list[StreamRecord]:
        async with loopmargin.AsyncClient(url, encoding=encoding) as client:
            return [record async for record in client.sweep_stream(asked)]

    return asyncio.run(take())


def spelled(records: Sequence[StreamRecord]) -> list[Any]:
    """Write packed blocks as those of JSON."""
    return [sweep.spelled(one) if isinstance(one, PackedBlock) else one for one in records]


def test_every_way_gives_the_same_numbers(service: ServiceProcess) -> None:
    """Blocking or not, in JSON or msgpack: to the last bit those of this process."""
    packed = blocking(service.url, "msgpack")
    blocks = [record for record in packed if isinstance(record, PackedBlock)]

    assert isinstance(packed[0], SweepHead)
    assert isinstance(packed[-1], SweepEnd)
    assert packed[-1].cases_sent == 2500
    assert sweep.joined(blocks) == sweep.chunk(sweep.same_cases(SMALL), 0, 2500)
    assert asynchronous(service.url, "msgpack") == packed
    assert blocking(service.url, "json") == spelled(packed)
    assert asynchronous(service.url, "json") == spelled(packed)


def test_every_way_gives_the_same_chances(service: ServiceProcess) -> None:
    """Streams of a drawn sweep, from any case on, and the whole answer tell the same."""
    packed = blocking(service.url, "msgpack", DRAWN)
    head, *blocks, end = packed
    assert isinstance(head, SweepHead)
    assert isinstance(end, SweepEnd)
    parts = [block for block in blocks if isinstance(block, PackedBlock)]
    with loopmargin.Client(service.url) as client:
        whole = client.sweep(DRAWN)
    _, *later, _ = blocking(service.url, "msgpack", replace(DRAWN, first_case=30))
    late = [block for block in later if isinstance(block, PackedBlock)]

    assert len(parts) > 1
    assert sweep.joined(parts) == sweep.chunk(sweep.same_cases(DRAWN), 0, head.cases)
    assert sweep.joined(late) == sweep.chunk(sweep.same_cases(DRAWN), 30, head.cases)
    assert asynchronous(service.url, "json", DRAWN) == spelled(packed)
    assert whole.state.drawn == head.drawn
    assert whole.notes == head.notes
    assert [column.name for column in whole.state.columns] == [each.name for each in head.columns]
    told = sweep.spelled(sweep.opened(sweep.joined(parts)))
    assert tuple(column.values for column in whole.state.columns) == told.columns


class Unbounded(loopmargin.RetryBudget):
    """Lets every stream be taken up, however slow the machine, and counts."""

    spent = 0

    def spend(self) -> bool:
        """Count."""
        self.spent += 1
        return True


@pytest.mark.long
def test_a_stream_beyond_the_time_of_one_is_taken_up() -> None:
    """The service ends each stream after a second; the client has them all."""
    app = create_app(Settings(worker_processes=1, stream_s=1.0))
    budget = Unbounded()
    with (
        served(app) as url,
        loopmargin.Client(
            url, encoding="msgpack", max_retries=10, deadline=600.0, retry_budget=budget
        ) as client,
    ):
        records = list(client.sweep_stream(question(200, 400)))

    firsts = [record.first_case for record in records if isinstance(record, PackedBlock)]
    assert firsts == list(range(0, 80_000, 1000))
    assert isinstance(records[-1], SweepEnd)
    assert records[-1].cases_sent == 80_000
    assert budget.spent > 0


def test_workers_are_free_soon_after_the_generator_is_closed() -> None:
    """Nothing more is solved for nobody."""
    app = create_app(Settings(worker_processes=2))
    workers = app.state.workers
    with served(app) as url, loopmargin.Client(url, encoding="msgpack") as client:
        stream = client.sweep_stream(LARGE)
        next(stream)
        next(stream)
        stream.close()
        eventually(lambda: workers.busy == 0 and workers.waiting == 0)
        solved = app.state.chunks.solved

    assert solved < 12


def test_the_example_of_the_readme_runs(
    service: ServiceProcess, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As it stands there, against a service at another address."""
    blocks = re.findall(r"```python\n(.*?)```", (ROOT / "README.md").read_text(), re.DOTALL)
    stream, chances = (one for one in blocks if "sweep_stream" in one or "draws=" in one)
    monkeypatch.setenv("LOOPMARGIN_BASE_URL", service.url)
    monkeypatch.chdir(ROOT)
    names: dict[str, Any] = {}

    for code in (stream, chances):
        exec(code, names)  # noqa: S102 - our own README

    assert names["head"].cases > 0
    assert {len(column) for column in names["columns"].values()} == {names["head"].cases}
    assert np.isfinite(names["columns"]["coolant_hottest"]).any()
    assert names["sure"].shape == (21, 9)
    assert names["sure"].any(axis=0)[0]
    assert not names["sure"][0].any()
