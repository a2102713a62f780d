"""The parts of answering that a trace shows; they cost next to nothing when nobody traces.

    with phase("decode"):
        ...

A traced request sets what its phases are shown by; it holds for the request's own task and
for the tasks that it starts.
"""

from collections.abc import Callable
from contextlib import AbstractContextManager, nullcontext
from contextvars import ContextVar
from typing import Any

Show = Callable[[str], AbstractContextManager[Any]]

SHOWN_BY: ContextVar[Show | None] = ContextVar("shown_by", default=None)
_UNSHOWN = nullcontext()


def phase(name: str) -> AbstractContextManager[Any]:
    """Mark a part of answering; name it by one of a few fixed words."""
    show = SHOWN_BY.get()
    return _UNSHOWN if show is None else show(name)
