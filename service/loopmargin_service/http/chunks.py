"""The chunks of a sweep, in order: stored, or solved by a crew a few at a time.

A chunk is named by what it holds (machine and axes, edition, range of cases), so that an
interrupted sweep computes only what is missing. Only so many are under way that the crew
is busy: whoever reads slowly holds up the next ones, and whoever leaves ends them. A chunk
with a case that lost its processes, or never ended, is given and not kept: the next asking
may fare better.
"""

import asyncio
from collections import deque
from collections.abc import AsyncIterator, Awaitable, Callable
from itertools import pairwise
from typing import NamedTuple

from loopmargin_service.http.crew import Crew, TookTooLong
from loopmargin_service.http.store import AnswerStore
from loopmargin_service.http.worker_process import WorkerLost
from loopmargin_service.questions import sweep, sweep_chunks, work
from loopmargin_wire.sweep import PackedBlock, SweepQuestion

# A process may be ended by something else than its task, so each task gets a second one.
TRIES = 2
# A task that takes so much longer than estimated is given up. Slow machines, a process that has to
# start and calculations that go before leave it far below. [s]
LEAST_S, TIMES = 10.0, 30.0
# What ends its process or takes too long is divided into so many parts, and again, so that the case
# to blame is found in few steps: each of them may cost a process or the time above.
PARTS = 8
# So many ranges of cases that took too long are remembered.
MOST_NOTED = 1000
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
        self._too_long: deque[tuple[str, int, int]] = deque(maxlen=MOST_NOTED)

    async def of(self, job: Job) -> AsyncIterator[PackedBlock]:
        """Give all cases from the first one that is asked for, in order."""
        first = job.question.first_case
        ranges = sweep_chunks.ranges(job.question)
        under_way: deque[asyncio.Task[PackedBlock]] = deque()
        try:
            while True:
                places = WINDOW * self._crew.places - len(under_way)
                for _, (begin, end) in zip(range(places), ranges, strict=False):
                    under_way.append(asyncio.create_task(self._part(job, begin, end)))
                if not under_way:
                    return
                part = await under_way[0]
                under_way.popleft()
                yield _from(part, first)
        finally:
            await _ended(under_way)

    async def _part(self, job: Job, first: int, last: int) -> PackedBlock:
        """Find some cases, or have them solved."""
        name = f"sweep/{job.digest}/{first}-{last}"
        found = await self._kept.find(name)
        if found.answer is not None:
            await job.pay(work.sweep_sent(last - first))
            return sweep.opened(found.answer)
        await job.pay(work.sweep_chunk(job.question, last - first))
        packed = await self._solved(job, first, last)
        part = sweep.opened(packed)
        if sweep.repeatable(part) and found.available:
            await self._kept.keep(name, packed)
        elif sweep.repeatable(part):
            self._kept.hold(name, packed)
        return part

    async def _solved(self, job: Job, first: int, last: int) -> bytes:
        """Have cases solved; divide what ends its process until one case is left to blame."""
        try:
            return await self._tried(job, first, last)
        except (WorkerLost, MemoryError) as lost:
            if last - first == 1:
                reason = sweep.TOO_LONG if isinstance(lost, TookTooLong) else sweep.DIED
                return sweep.lost(sweep.same_cases(job.question), first, reason)
        paid = job._replace(pay=for_nothing)
        edges = [*range(first, last, -(-(last - first) // PARTS)), last]
        parts = [await self._part(paid, *each) for each in pairwise(edges)]
        return sweep.joined(parts)

    async def _tried(self, job: Job, first: int, last: int, tries: int = TRIES) -> bytes:
        """Have cases solved by a process, or by another one when that dies.

        What took too long once is not tried as a whole again: so whoever asks again, having
        waited in vain, comes to the end.
        """
        whole = (job.digest, first, last)
        if whole in self._too_long:
            raise TookTooLong
        same = sweep.same_cases(job.question)
        work_s = work.sweep_set(same, last - first) + work.sweep_chunk(same, last - first)
        try:
            packed = await self._crew.run(LEAST_S + TIMES * work_s, sweep.chunk, same, first, last)
        except TookTooLong:
            if last - first > 1:
                self._too_long.append(whole)
            raise
        except (WorkerLost, MemoryError):
            if tries == 1:
                raise
            return await self._tried(job, first, last, tries - 1)
        self.solved += 1
        return packed


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
