"""Work that several callers want at the same time is done once, for all of them.

A piece of work belongs to everybody who waits for it: whoever leaves, the first one too,
leaves it to the others, and it stops when nobody is left.
"""

import asyncio
from collections.abc import Awaitable, Callable
from typing import Generic, TypeVar

T = TypeVar("T")


class _Flight(Generic[T]):
    """One piece of work under way, and how many wait for it."""

    def __init__(self, task: asyncio.Task[T]) -> None:
        self.task = task
        self.waiting = 0


class Flights(Generic[T]):
    """Pieces of work under way, by name."""

    def __init__(self, same_for_all: tuple[type[Exception], ...]) -> None:
        self._same_for_all = same_for_all
        self._aloft: dict[str, _Flight[T]] = {}

    def __len__(self) -> int:
        """Count the pieces under way."""
        return len(self._aloft)

    async def share(self, name: str, work: Callable[[], Awaitable[T]]) -> tuple[T, bool]:
        """Do the work, or wait for who does it already; tell whether it was another's.

        An error that would be the same for everybody goes to everybody. Any other error is
        the misfortune of whose work it was: the next one waiting then begins anew.
        """
        while True:
            flight = self._aloft.get(name)
            follows = flight is not None and not flight.task.done()
            if flight is None or not follows:
                flight = self._started(name, work)
            await self._landed(name, flight)
            if follows and not self._concerns_all(flight.task):
                continue
            return flight.task.result(), follows

    def _started(self, name: str, work: Callable[[], Awaitable[T]]) -> _Flight[T]:
        async def worked() -> T:
            return await work()

        flight = _Flight(asyncio.create_task(worked()))
        self._aloft[name] = flight
        flight.task.add_done_callback(lambda _task: self._forget(name, flight))
        return flight

    async def _landed(self, name: str, flight: _Flight[T]) -> None:
        """Wait for the end of the work, which stops when the last one who waits leaves."""
        flight.waiting += 1
        try:
            await asyncio.wait((flight.task,))
        finally:
            flight.waiting -= 1
            if flight.waiting == 0 and not flight.task.done():
                self._forget(name, flight)
                flight.task.cancel()

    def _concerns_all(self, task: asyncio.Task[T]) -> bool:
        if task.cancelled():
            return False
        error = task.exception()
        return error is None or isinstance(error, self._same_for_all)

    def _forget(self, name: str, flight: _Flight[T]) -> None:
        if self._aloft.get(name) is flight:
            del self._aloft[name]
        if flight.task.done() and not flight.task.cancelled():
            # Looked at, so that a failure nobody waits for any more is not reported as lost.
            flight.task.exception()
