"""Short calculations, done in place one after the other, with the event loop in between.

A calculation is queued also where nothing waits, and some milliseconds of them are done in
each round of the event loop. So requests that arrive together queue where they can be counted,
and not unseen in the event loop, and what is too much is refused between two rounds and not
after all of them.
"""

import asyncio
import math
from collections import deque
from collections.abc import Callable
from time import perf_counter
from typing import Any, NamedTuple, TypeVar

from loopmargin_service.http.problems import OVERLOADED
from loopmargin_service.http.turned_away import HALF, Told, TurnedAwayError

# A short calculation that waits for longer is no short answer any more. [s]
LONGEST_WAIT_S = 0.25
# How long calculations may keep the event loop in one round. [s]
ROUND_S = 0.005

T = TypeVar("T")


class _Waiting(NamedTuple):
    """One calculation: how long it should take, since when it waits, and who waits for it."""

    expected_s: float
    since_s: float
    compute: Callable[[], Any]
    heard: "asyncio.Future[tuple[Any, float]]"


class Turns:
    """Does short calculations in the order they came, and refuses what would wait for long."""

    def __init__(self, told: Told) -> None:
        self.waiting_s = 0.0
        self._told = told
        self._queue: deque[_Waiting] = deque()

    @property
    def waiting(self) -> int:
        """Count those that wait."""
        return len(self._queue)

    async def run(self, expected_s: float, compute: Callable[[], T]) -> tuple[T, float]:
        """Compute when the turn comes; give the result and the time it took. [s]"""
        self.require()
        loop = asyncio.get_running_loop()
        if not self._queue:
            loop.call_soon(self._round, loop)
        heard: asyncio.Future[tuple[T, float]] = loop.create_future()
        self._queue.append(_Waiting(expected_s, perf_counter(), compute, heard))
        self.waiting_s += expected_s
        return await heard

    @property
    def room(self) -> float:
        """Estimate how many more like those that wait find a place; no limit up to half of them."""
        if not self._queue:
            return math.inf
        used = max(self.waiting_s, perf_counter() - self._queue[0].since_s) / LONGEST_WAIT_S
        return math.inf if used < HALF else self.waiting * (1.0 / used - 1.0)

    def require(self) -> None:
        """Refuse when too much waits already, or for too long; this costs next to nothing."""
        if self.room <= 0.0:
            raise self.refusal()

    def refusal(self) -> TurnedAwayError:
        """Say that there is no room for anything, and have it counted."""
        self._told("overloaded")
        detail = (
            f"{self.waiting} short calculations wait already, for about {self.waiting_s:.2f} s. "
            "Ask again after the time in Retry-After."
        )
        return TurnedAwayError(OVERLOADED, detail, self.waiting_s)

    def _round(self, loop: asyncio.AbstractEventLoop) -> None:
        """Compute for a while, then let the event loop come round.

        At least one is computed. Another one only if it should be done in time: whoever is to be
        refused, or has a stored answer, waits for the whole round.
        """
        until_s = perf_counter() + ROUND_S
        while self._queue:
            one = self._queue[0]
            if not one.heard.done():
                _compute(one)
            self._queue.popleft()
            self.waiting_s = self.waiting_s - one.expected_s if self._queue else 0.0
            if self._queue and perf_counter() + self._queue[0].expected_s >= until_s:
                break
        if self._queue:
            loop.call_soon(self._round, loop)


def _compute(one: _Waiting) -> None:
    began = perf_counter()
    try:
        result = one.compute()
    except Exception as error:  # noqa: BLE001 - handed to who waits for it
        one.heard.set_exception(error)
    else:
        one.heard.set_result((result, perf_counter() - began))
