"""The chunks of a sweep, in order: stored, or solved by a crew a few at a time.

A chunk is named by what it holds (machine and axes, edition, range of cases), so that an
interrupted sweep computes only what is missing. Only so many are under way that the crew
is busy: whoever reads slowly holds up the next ones, and whoever leaves ends them. A chunk
with a case that lost its processes is given and not kept: the next asking may fare better.
"""

import asyncio
import contextlib
from collections import deque
from collections.abc import AsyncIterator, Awaitable, Callable
from typing import NamedTuple

from loopmargin_service.http.crew import Crew
from loopmargin_service.http.store import AnswerStore
from loopmargin_service.http.worker_process import WorkerLost
from loopmargin_service.questions import sweep, sweep_chunks, work
from loopmargin_wire.sweep import PackedBlock, SweepQuestion

# A process may be ended by something else than its task, so each task gets a second one.
TRIES = 2
# Chunks under way for each place of the crew: one that is solved and one that waits.
WINDOW = 2


async def for_nothing(work_s: float) -> None:
    """Let work be done that nobody pays for."""


class Job(NamedTuple):
    """A sweep: its question, the name of its cases, and how its work is paid for."""

    question: SweepQuestion
    digest: str
    pay: Callable[[float], Awaitable[None]] = for_nothing


class Chunks:
    """Gives the chunks of sweeps."""

    def __init__(self, crew: Crew, kept: AnswerStore) -> None:
        self.solved = 0
        self._crew = crew
        self._kept = kept

    async def of(self, job: Job) -> AsyncIterator[PackedBlock]:
        """Give all cases from the first one that is asked for, in order."""
        first = job.question.first_case
        ranges = sweep_chunks.ranges(job.question)
        wanted = (each for each in ranges if each[1] > first)
        under_way: deque[asyncio.Task[PackedBlock]] = deque()
        try:
            while True:
                places = WINDOW * self._crew.places - len(under_way)
                for _, (begin, end) in zip(range(places), wanted, strict=False):
                    under_way.append(asyncio.create_task(self._chunk(job, begin, end)))
                if not under_way:
                    return
                part = await under_way[0]
                under_way.popleft()
                yield _from(part, first)
        finally:
            await _ended(under_way)

    async def _chunk(self, job: Job, first: int, last: int) -> PackedBlock:
        name = f"sweep/{job.digest}/{first}-{last}"
        found = await self._kept.find(name)
        if found.answer is not None:
            await job.pay(work.sweep_sent(last - first))
            return sweep.opened(found.answer)
        await job.pay(work.sweep_chunk(job.question, last - first))
        packed = await self._solved(job.question, first, last)
        self.solved += 1
        part = sweep.opened(packed)
        if sweep.repeatable(part) and found.available:
            await self._kept.keep(name, packed)
        elif sweep.repeatable(part):
            self._kept.hold(name, packed)
        return part

    async def _solved(self, question: SweepQuestion, first: int, last: int) -> bytes:
        """Have cases solved; halve what ends its process until one case is left to blame."""
        same = sweep.same_cases(question)
        for _ in range(TRIES):
            with contextlib.suppress(WorkerLost, MemoryError):
                return await self._crew.run(sweep.chunk, same, first, last)
        if last - first == 1:
            return sweep.lost(same, first)
        middle = (first + last) // 2
        halves = [
            await self._solved(question, first, middle),
            await self._solved(question, middle, last),
        ]
        return sweep.joined([sweep.opened(half) for half in halves])


def _from(part: PackedBlock, first: int) -> PackedBlock:
    """Leave out the cases before the first one that is asked for."""
    if part.first_case >= first:
        return part
    return sweep.cut(part, first, part.first_case + len(part.status))


async def _ended(tasks: deque[asyncio.Task[PackedBlock]]) -> None:
    """Cancel tasks and wait until they are over."""
    for task in tasks:
        task.cancel()
    await asyncio.gather(*tasks, return_exceptions=True)
