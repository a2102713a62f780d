"""Short calculations, done in place one after the other, with the event loop in between.

Whoever finds a calculation just done waits for the event loop to come round. So requests
that arrive together queue where they can be counted, and not unseen in the event loop, and
what is too much is refused between two calculations and not after all of them.
"""

import asyncio
from collections.abc import Callable
from time import perf_counter
from typing import TypeVar

from loopmargin_service.http.problems import OVERLOADED
from loopmargin_service.http.turned_away import Told, TurnedAwayError

# A short calculation that waits for longer is no short answer any more. [s]
LONGEST_WAIT_S = 0.25

T = TypeVar("T")


class Turns:
    """Lets one calculation run in each round of the event loop, first come first served."""

    def __init__(self, told: Told) -> None:
        self.waiting = 0
        self._told = told
        self.waiting_s = 0.0
        self._turn = asyncio.Lock()

    async def run(self, expected_s: float, compute: Callable[[], T]) -> tuple[T, float]:
        """Compute when the turn comes; give the result and the time it took. [s]"""
        self.require()
        self.waiting += 1
        self.waiting_s += expected_s
        try:
            await self._turn.acquire()
        finally:
            self.waiting -= 1
            self.waiting_s = self.waiting_s - expected_s if self.waiting else 0.0
        asyncio.get_running_loop().call_soon(self._turn.release)
        began = perf_counter()
        result = compute()
        return result, perf_counter() - began

    def require(self) -> None:
        """Refuse when too much waits already; this costs next to nothing."""
        if self.waiting_s > LONGEST_WAIT_S:
            self._told("overloaded")
            detail = (
                f"{self.waiting} short calculations wait already, for about {self.waiting_s:.2f} s."
                " Ask again after the time in Retry-After."
            )
            raise TurnedAwayError(OVERLOADED, detail, self.waiting_s)
