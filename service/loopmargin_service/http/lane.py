"""Worker processes with a queue before them that is bounded in seconds of work.

What could not be done within its deadline is refused before it waits, and so is what would
wait for long: a caller who is told at once can go elsewhere or come back.
"""

import asyncio
import contextlib
import math
from collections.abc import Callable, Iterator
from functools import partial
from time import perf_counter
from typing import ParamSpec, TypeVar

from loopmargin_service.http.deadline import Deadline
from loopmargin_service.http.gathering import Gathering
from loopmargin_service.http.pace import Pace
from loopmargin_service.http.problems import BUSY, DEADLINE, ProblemError
from loopmargin_service.http.turned_away import HALF, Told, TurnedAwayError
from loopmargin_service.http.worker_process import usable_cores
from loopmargin_service.http.workers import Workers

MOST_WAITING = 64
# A queue of no length at all is as long as this. [s]
TINY_S = 1e-6

P = ParamSpec("P")
T = TypeVar("T")


class Lane:
    """Counts the work that waits and runs in some workers, and admits what they can do in time."""

    def __init__(self, workers: Workers, longest_wait_s: float, told: Told) -> None:
        self.workers = workers
        self.pace = Pace()
        self.admitted = 0
        self.admitted_s = 0.0
        self._desks = max(1, workers.processes)
        self._longest_wait_s = longest_wait_s
        self._told = told
        self._gathering = Gathering() if workers.processes >= usable_cores() else None

    @property
    def waiting(self) -> int:
        """Count what was admitted and has no worker yet."""
        return max(0, self.admitted - self._desks)

    @property
    def wait_s(self) -> float:
        """Estimate how long the next one admitted waits for a worker. [s]"""
        if self.admitted < self._desks:
            return 0.0
        return self.admitted_s * self.pace.factor / self._desks

    @property
    def room(self) -> float:
        """Estimate how many more like those inside find a place; no limit up to half of them."""
        used = max(self.waiting / MOST_WAITING, self.wait_s / max(self._longest_wait_s, TINY_S))
        return math.inf if used < HALF else self.waiting * (1.0 / used - 1.0)

    async def run(
        self,
        work_s: float,
        deadline: Deadline,
        do: Callable[P, T],
        *args: P.args,
        **named: P.kwargs,
    ) -> T:
        """Have something done by a worker, or refuse it; whoever is cancelled frees the worker."""
        with self.place(work_s, deadline):
            future = self.workers.submit(_timed, partial(do, *args, **named))
            result, took_s = await asyncio.wrap_future(future)
        self.pace.learn(work_s, took_s)
        return result

    @contextlib.contextmanager
    def place(self, work_s: float, deadline: Deadline) -> Iterator[None]:
        """Hold a place in the queue for so much work, if there is one."""
        self._require(work_s * self.pace.factor, deadline)
        self.admitted += 1
        self.admitted_s += work_s
        try:
            yield
        finally:
            self.admitted -= 1
            self.admitted_s = self.admitted_s - work_s if self.admitted else 0.0

    def _require(self, needed_s: float, deadline: Deadline) -> None:
        """Refuse what no waiting would help, then what could be done at another time."""
        left_s = deadline.left_s()
        if needed_s > left_s:
            self._told("too_much_work")
            raise ProblemError(DEADLINE, deadline.too_short(f"this takes about {needed_s:.1f} s"))
        wait_s, spare_s = self.wait_s, min(left_s - needed_s, self._longest_wait_s)
        if wait_s > spare_s or self.waiting >= MOST_WAITING:
            self._told("past_deadline" if wait_s > left_s - needed_s else "queue_full")
            raise self._no_room(wait_s - spare_s)

    def refusal(self) -> TurnedAwayError:
        """Say that there is no room for anything, and have it counted."""
        self._told("queue_full")
        if self._gathering is not None:
            self._gathering.refused()
        return self._no_room(self.wait_s - self._longest_wait_s)

    def _no_room(self, back_in_s: float) -> TurnedAwayError:
        detail = (
            f"{self.waiting} calculations wait already, for about {self.wait_s:.1f} s. Ask again "
            "after the time in Retry-After."
        )
        return TurnedAwayError(BUSY, detail, back_in_s)


def _timed(do: Callable[[], T]) -> tuple[T, float]:
    """Do something and tell how long it took. [s]"""
    began = perf_counter()
    return do(), perf_counter() - began
