"""A sweep with a case that never ends, on real worker processes."""

import asyncio
from collections.abc import Callable
from typing import TypeVar, TypeVarTuple

import pytest

from loopmargin_service.http import chunks as chunks_module
from loopmargin_service.http.chunks import Chunks, Job
from loopmargin_service.http.crew import LocalCrew
from loopmargin_service.http.store import AnswerStore
from loopmargin_service.http.workers import Workers
from loopmargin_service.questions import sweep
from loopmargin_wire.sweep import PackedBlock
from tests.faults.replica import eventually
from tests.unit.http import worker_tasks
from tests.unit.questions.swept import FANS, asked

Ts = TypeVarTuple("Ts")
T = TypeVar("T")
PATIENCE_S = 120.0
QUESTION = asked({**FANS, "values": [0.7, 0.8]})


class StuckCrew(LocalCrew):
    """The worker processes here, which never come to an end with the second case.

    The first one alone has all the time that a busy machine may need.
    """

    async def run(self, longest_s: float, do: Callable[[*Ts], T], *args: *Ts) -> T:
        """Do another task in place of the one wanted."""
        assert do == sweep.chunk
        _, first, last = args
        stuck = first <= 1 < last  # type: ignore[operator]
        longest_s = longest_s if stuck else PATIENCE_S
        return await super().run(longest_s, worker_tasks.stuck_chunk, *args)  # type: ignore[arg-type]


def test_a_case_that_never_ends_ends_its_worker_and_fails_alone(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """The other one has its numbers, and the worker is free again."""
    monkeypatch.setattr(chunks_module, "LEAST_S", 1.0)
    monkeypatch.setattr(chunks_module, "TIMES", 0.0)

    async def swept(workers: Workers) -> list[PackedBlock]:
        chunks = Chunks(StuckCrew(workers), AnswerStore(2**20, 60))
        return [part async for part in chunks.of(Job(QUESTION, "a"))]

    with Workers(1) as workers:
        (part,) = asyncio.run(swept(workers))
        eventually(lambda: workers.busy == 0)
        replaced = workers.replaced

    assert sweep.spelled(part).status == ("settled", "worker_lost")
    assert [fault.reason for fault in part.faults] == [sweep.TOO_LONG]
    assert replaced >= 2
