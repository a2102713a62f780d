"""Where long calculations are done: beside the event loop, one at a time, few waiting.

A question that takes tens of milliseconds would hold up every other caller of this
process. It is computed on a thread instead, whose long array operations let the event loop
run; a short switch interval does the rest. A caller who finds the queue full is told so at
once and comes back.
"""

import asyncio
import sys
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from typing import TypeVar

from loopmargin_service.http.problems import BUSY, ProblemError
from loopmargin_service.http.reply import Header

MOST_WAITING = 8
RETRY: tuple[Header, ...] = ((b"retry-after", b"1"),)
# How long the calculating thread may keep the interpreter from the event loop. [s]
SWITCH_INTERVAL = 0.0005

Q = TypeVar("Q")
A = TypeVar("A")


class Workbench:
    """One calculating thread, with a bounded queue before it; it starts with the first question."""

    def __init__(self, most_waiting: int = MOST_WAITING) -> None:
        self._most = most_waiting
        self._waiting = 0
        self._thread: ThreadPoolExecutor | None = None

    async def run(self, compute: Callable[[Q], A], question: Q) -> A:
        """Compute one question when its turn comes; refuse it when too many wait."""
        if self._waiting >= self._most:
            detail = f"{self._waiting} long calculations wait already; ask again in a second."
            raise ProblemError(BUSY, detail, headers=RETRY)
        if self._thread is None:
            sys.setswitchinterval(SWITCH_INTERVAL)
            self._thread = ThreadPoolExecutor(max_workers=1, thread_name_prefix="workbench")
        self._waiting += 1
        try:
            loop = asyncio.get_running_loop()
            return await loop.run_in_executor(self._thread, compute, question)
        finally:
            self._waiting -= 1

    async def close(self) -> None:
        """Finish what is being computed and drop what only waits."""
        thread, self._thread = self._thread, None
        if thread is not None:
            await asyncio.to_thread(thread.shutdown, wait=True, cancel_futures=True)
