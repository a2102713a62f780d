"""Who solves the chunks of a sweep: worker processes here, or those of a Dask cluster.

A crew does one task and gives its result. A task whose process died is a lost task; a crew
that is gone altogether hands its tasks back, and the processes here do them.
"""

import asyncio
import logging
from collections.abc import Callable
from concurrent.futures import Executor, Future
from typing import Protocol, TypeVar, TypeVarTuple

from loopmargin_service.http.workers import Workers
from loopmargin_service.questions import edition

LOG = logging.getLogger("loopmargin")

Ts = TypeVarTuple("Ts")
T = TypeVar("T")


class CrewGone(RuntimeError):  # noqa: N818 - a state of the cluster, not a mishap of the task
    """Nobody there can take the task; it says why."""


class Crew(Protocol):
    """Does tasks, so many at once."""

    @property
    def places(self) -> int:
        """Count the tasks that can be under way at once."""

    async def run(self, do: Callable[[*Ts], T], *args: *Ts) -> T:
        """Do one task; whoever is cancelled frees its place."""

    async def close(self) -> None:
        """Let go of what is far away."""


class LocalCrew:
    """The worker processes of this service; all other calculations go first."""

    def __init__(self, workers: Workers) -> None:
        self._workers = workers
        self._executor: Executor = workers.behind()

    @property
    def places(self) -> int:
        """Count the processes."""
        return max(1, self._workers.processes)

    async def run(self, do: Callable[[*Ts], T], *args: *Ts) -> T:
        """Do one task."""
        return await heard(self._executor.submit(do, *args))

    async def close(self) -> None:
        """Leave the processes to their owner."""


class BothCrews:
    """A crew far away, and the one here for what it hands back."""

    def __init__(self, away: Crew, here: Crew) -> None:
        self._away = away
        self._here = here

    @property
    def places(self) -> int:
        """Count the places of the crew far away, or here while it has none."""
        return self._away.places or self._here.places

    async def run(self, do: Callable[[*Ts], T], *args: *Ts) -> T:
        """Do one task there, or here."""
        try:
            return await self._away.run(do, *args)
        except CrewGone as gone:
            LOG.warning("a chunk is solved here, as the cluster cannot: %s", gone)
            return await self._here.run(do, *args)

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
            raise CrewGone("the task was cancelled there") from None
        raise


def handed(wanted: str, do: Callable[[*Ts], T], *args: *Ts) -> T:
    """Do a task in another process, if its numbers are of the wanted edition."""
    if wanted != edition.EDITION:
        raise CrewGone(f"a worker has edition {edition.EDITION}, and {wanted} is asked for")
    return do(*args)
