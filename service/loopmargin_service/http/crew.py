"""Who solves the chunks of a sweep: worker processes here, or those of a Dask cluster.

A crew does one task and gives its result. A task whose process died, or had to be ended because
the task took too long, is a lost task; a crew that is gone altogether hands its tasks back, and
the processes here do them.
"""

import asyncio
import logging
import time
from collections.abc import Callable
from concurrent.futures import Future
from typing import Protocol, TypeVar, TypeVarTuple

from loopmargin_service.http.worker_process import WorkerLost
from loopmargin_service.http.workers import Workers
from loopmargin_service.questions import edition

LOG = logging.getLogger("loopmargin")

# How long a task that came back is held against the crew far away, if none was done since. [s]
LATELY_S = 300.0

Ts = TypeVarTuple("Ts")
T = TypeVar("T")


class CrewGone(RuntimeError):  # noqa: N818 - a state of the cluster, not a mishap of the task
    """Nobody there can take the task; it says why, in words and by one of `meters.HANDED_BACK`."""

    def __init__(self, why: str, kind: str = "connection") -> None:
        super().__init__(why, kind)
        self.kind = kind

    def __str__(self) -> str:
        """Say why."""
        return str(self.args[0])


class TookTooLong(WorkerLost):
    """The task was given up, and its process ended; another try would take as long."""


class Crew(Protocol):
    """Does tasks, so many at once."""

    @property
    def places(self) -> int:
        """Count the tasks that can be under way at once."""

    async def run(self, longest_s: float, do: Callable[[*Ts], T], *args: *Ts) -> T:
        """Do one task, in so long beside its waiting; whoever is cancelled frees its place."""

    async def close(self) -> None:
        """Let go of what is far away."""


class LocalCrew:
    """The worker processes of this service; all other calculations go first."""

    def __init__(self, workers: Workers) -> None:
        self._workers = workers

    @property
    def places(self) -> int:
        """Count the processes."""
        return max(1, self._workers.processes)

    async def run(self, longest_s: float, do: Callable[[*Ts], T], *args: *Ts) -> T:
        """Do one task."""
        try:
            return await heard(self._workers.behind(longest_s).submit(do, *args))
        except TimeoutError:
            raise TookTooLong(f"the task took more than {longest_s:.0f} s") from None

    async def close(self) -> None:
        """Leave the processes to their owner."""


class HandedBack:
    """Whether a crew far away has handed tasks back lately, and none done since; counts each."""

    def __init__(
        self,
        told: Callable[[str], None] = lambda _kind: None,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self._told = told
        self._clock = clock
        self._degraded_until_s = clock()

    @property
    def degraded(self) -> bool:
        """Tell whether sweeps are solved without the crew far away."""
        return self._clock() < self._degraded_until_s

    def note(self, gone: CrewGone) -> None:
        """Take note of a task that came back."""
        if not self.degraded:
            LOG.warning("sweeps are solved here, as the cluster cannot: %s", gone)
        self._told(gone.kind)
        self._degraded_until_s = self._clock() + LATELY_S

    def forget(self) -> None:
        """Take note of a task that was done there."""
        if self.degraded:
            LOG.warning("sweeps are solved by the cluster again")
        self._degraded_until_s = self._clock()


class BothCrews:
    """A crew far away, and the one here for what it hands back."""

    def __init__(self, away: Crew, here: Crew, handed_back: HandedBack | None = None) -> None:
        self._away = away
        self._here = here
        self._handed_back = handed_back or HandedBack()

    @property
    def places(self) -> int:
        """Count the places of the crew far away, or here while it has none."""
        return self._away.places or self._here.places

    async def run(self, longest_s: float, do: Callable[[*Ts], T], *args: *Ts) -> T:
        """Do one task there, or here."""
        try:
            result = await self._away.run(longest_s, do, *args)
        except CrewGone as gone:
            self._handed_back.note(gone)
            return await self._here.run(longest_s, do, *args)
        self._handed_back.forget()
        return result

    async def close(self) -> None:
        """Let go of the crew far away."""
        await self._away.close()


async def heard(future: Future[T]) -> T:
    """Wait for a future; one that was cancelled by others than our caller means a crew gone."""
    try:
        return await asyncio.wrap_future(future)
    except asyncio.CancelledError:
        task = asyncio.current_task()
        if task is not None and not task.cancelling() and future.cancelled():
            raise CrewGone("the task was cancelled there", "cancelled") from None
        raise


def handed(wanted: str, do: Callable[[*Ts], T], *args: *Ts) -> T:
    """Do a task in another process, if its numbers are of the wanted edition."""
    if wanted != edition.EDITION:
        why = f"a worker has edition {edition.EDITION}, and {wanted} is asked for"
        raise CrewGone(why, "edition")
    return do(*args)
