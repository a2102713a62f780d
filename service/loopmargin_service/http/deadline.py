"""How long a caller waits: stated by `Prefer: wait` (RFC 7240, section 4.3), within our own limit.

A request is worked on while its caller listens and its time is not over. Whichever comes
first ends the work, wherever it waits at that moment.
"""

import asyncio
import re
from collections.abc import Callable
from functools import lru_cache
from types import TracebackType
from typing import NamedTuple, Self

from litestar.types import Receive

from loopmargin_service.http.media import ClientGoneError
from loopmargin_service.http.problems import DEADLINE, ProblemError

_WAIT = re.compile(r'wait\s*=\s*("?)(\d{1,9})\1\s*(;.*)?', re.IGNORECASE)


class Deadline(NamedTuple):
    """Seconds allowed, and the instant of the event loop's clock at which they are over."""

    allowed_s: float
    until_s: float

    def left_s(self) -> float:
        """Time left now; negative when it is over. [s]"""
        return self.until_s - asyncio.get_running_loop().time()

    def too_short(self, why: str) -> str:
        """Say that the time is too short, and what to do."""
        return (
            f"The time allowed is {self.allowed_s:g} s; {why}. Ask for less (fewer cases, values "
            "or draws), or allow more where `Prefer: wait` allows less than the service does."
        )


def deadline(prefer: bytes, most_s: float) -> Deadline:
    """Set the deadline of a request that begins now."""
    wished_s = wait_s(prefer)
    allowed_s = most_s if wished_s is None else min(wished_s, most_s)
    return Deadline(allowed_s, asyncio.get_running_loop().time() + allowed_s)


@lru_cache(64)
def wait_s(prefer: bytes) -> float | None:
    """Read the first `wait` of a Prefer header; what cannot be understood is no preference."""
    for preference in prefer.decode("latin-1").split(","):
        found = _WAIT.fullmatch(preference.strip())
        if found:
            return float(found[2])
    return None


class Attended:
    """A block that ends early, with the fitting error, when its caller leaves or its time is over.

    Like `asyncio.timeout` it cancels the task it runs in, and takes that back on its way out.
    """

    def __init__(
        self, receive: Receive, deadline: Deadline, overrun: Callable[[], None] = lambda: None
    ) -> None:
        self._receive = receive
        self._deadline = deadline
        self._overrun = overrun
        self._why: Exception | None = None

    async def __aenter__(self) -> Self:
        """Begin to listen and to look at the clock."""
        loop = asyncio.get_running_loop()
        task = asyncio.current_task()
        assert task is not None  # noqa: S101 - async code always runs in one
        self._task = task
        self._cancelled_before = task.cancelling()
        self._listening = loop.create_task(self._listen())
        self._timer = loop.call_at(self._deadline.until_s, self._time_is_over)
        return self

    async def __aexit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """Stop both, and say why the block ended early if it did."""
        self._listening.cancel()
        self._timer.cancel()
        if self._why is None:
            return
        others = self._task.uncancel() > self._cancelled_before
        if kind is not None and issubclass(kind, asyncio.CancelledError) and not others:
            raise self._why from None

    async def _listen(self) -> None:
        while (await self._receive())["type"] != "http.disconnect":
            pass
        self._end(ClientGoneError())

    def _time_is_over(self) -> None:
        self._overrun()
        self._end(ProblemError(DEADLINE, self._deadline.too_short("it is over")))

    def _end(self, why: Exception) -> None:
        if self._why is None:
            self._why = why
            self._task.cancel()
