"""An event loop whose clock jumps: waiting takes no time, and waiting for nothing is an error."""

import asyncio
import selectors
from collections.abc import Coroutine
from typing import Any, TypeVar

T = TypeVar("T")


class NothingToWaitForError(RuntimeError):
    """Every task waits and no timer is set: on a real clock this would hang for ever."""


class _Jump(selectors.SelectSelector):
    """Passes the time that it is asked to wait, at once."""

    now_s = 0.0

    def select(self, timeout: float | None = None) -> list[tuple[selectors.SelectorKey, int]]:
        """Move the clock on to the next timer."""
        if timeout is None:
            raise NothingToWaitForError
        self.now_s += max(timeout, 0.0)
        return super().select(0)


class _Loop(asyncio.SelectorEventLoop):
    def __init__(self) -> None:
        self._jump = _Jump()
        super().__init__(self._jump)

    def time(self) -> float:
        """Tell the virtual time."""
        return self._jump.now_s


def runner() -> asyncio.Runner:
    """Make a runner on a virtual clock that begins at zero and goes on from one run to the next."""
    return asyncio.Runner(loop_factory=_Loop)


def run(work: Coroutine[Any, Any, T]) -> T:
    """Run one piece of work on a virtual clock that begins at zero."""
    with runner() as alone:
        return alone.run(work)


def now_s() -> float:
    """Tell the time of the loop that is running."""
    return asyncio.get_running_loop().time()
