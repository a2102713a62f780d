"""Refusals that gather for a moment where the listening process has no core of its own.

A worker that computes has the caches of its core. To wake the listening process on that core
for each request that is turned away costs the calculation several times what the refusal
itself does; a few at a time cost little more than one. So while questions are turned away the event
loop comes round no more often than every few milliseconds. It loses no time that it needs: what it
has worked since it last came round counts, and it only sleeps for the rest.
"""

import asyncio
import time
from collections.abc import Callable

# A refusal has to come within 10 ms, and a stored answer within 5. [s]
GATHER_S = 0.004


class Gathering:
    """Holds the event loop up for a moment after a refusal, if one came just before."""

    def __init__(
        self,
        clock: Callable[[], float] = time.perf_counter,
        sleep: Callable[[float], None] = time.sleep,
    ) -> None:
        self._clock = clock
        self._sleep = sleep
        self._began_s = clock() - GATHER_S
        self._coming = False

    def refused(self) -> None:
        """Take note of a refusal, which is sent before anything is held up."""
        if not self._coming:
            self._coming = True
            asyncio.get_running_loop().call_soon(self._gather)

    def _gather(self) -> None:
        self._coming = False
        left_s = self._began_s + GATHER_S - self._clock()
        if left_s > 0.0:
            self._sleep(left_s)
        self._began_s = self._clock()
