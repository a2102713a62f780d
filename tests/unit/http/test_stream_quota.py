"""A stream pays for a chunk before it is solved, and for none after the last one."""

import asyncio

import msgspec
import pytest

from loopmargin_service.http.app import create_app
from loopmargin_service.http.chunks import Chunks
from loopmargin_service.http.settings import Settings
from loopmargin_service.http.stream_media import StreamMedia
from loopmargin_service.http.streams import Stream, Streams
from loopmargin_service.questions import sweep, sweep_plan
from tests.unit.http.test_chunks import CASES, Hands, store
from tests.unit.questions.swept import FANS, asked


class Purse:
    """Counts what is paid."""

    def __init__(self) -> None:
        self.paid = 0

    async def work(self, work_s: float) -> None:
        """Pay for some work."""
        assert work_s > 0.0
        self.paid += 1


def test_nothing_is_paid_after_the_last_chunk(monkeypatch: pytest.MonkeyPatch) -> None:
    """The first chunk was paid before the stream; of four, three are left to pay."""
    monkeypatch.setattr(sweep_plan, "CHUNK_CASES", 1)
    app = create_app(Settings(worker_processes=0))
    streams = Streams(Chunks(Hands(), store()), Settings(), app.state.bench, app.state.meters)
    question, purse = asked(FANS), Purse()
    head = sweep.head(question, "a")
    stream = Stream(streams, question, head, StreamMedia.NDJSON, purse)  # type: ignore[arg-type]

    async def read() -> int:
        return sum([len(block.status) async for block in streams._blocks(stream)])  # noqa: SLF001 - the part under test

    assert asyncio.run(read()) == CASES
    assert purse.paid == CASES - 1
    assert msgspec.structs.asdict(head)["cases"] == CASES
