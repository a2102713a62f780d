"""Tasks for worker processes: they must stand in a module that the workers can import."""

import os
import signal
import time
from pathlib import Path

import numpy as np

from loopmargin_service.questions import sweep
from loopmargin_service.questions.refusals import Fault, Refusal
from loopmargin_wire.sweep import SweepQuestion


class AwkwardError(Exception):
    """An exception that cannot be made again from its arguments."""

    def __init__(self, one: int, two: int) -> None:
        super().__init__(f"{one} and {two}")


def double(number: int) -> int:
    """Give twice the number."""
    return 2 * number


def process() -> int:
    """Tell which process works."""
    return os.getpid()


def niceness() -> int:
    """Tell how far behind others this process stands."""
    return os.nice(0)


def refuse() -> None:
    """Refuse as a question does."""
    raise Refusal(Fault(("machine", "pumps"), "give a pump"))


def be_awkward() -> None:
    """Fail with what cannot travel."""
    raise AwkwardError(1, 2)


def die() -> None:
    """End the process in the middle of the task."""
    os.kill(os.getpid(), signal.SIGKILL)


def never_end(mark: str) -> None:
    """Work for good, having left a mark with the number of the process."""
    Path(mark).write_text(str(os.getpid()))
    while True:
        time.sleep(0.01)


def stuck_chunk(question: SweepQuestion, first: int, last: int) -> bytes:
    """Solve some cases; never end with the second one among them."""
    while first <= 1 < last:
        time.sleep(0.01)
    return sweep.chunk(question, first, last)


def write_line(path: str, line: str) -> None:
    """Add a line to a file."""
    with Path(path).open("a") as file:
        file.write(line + "\n")


def fill(size: int) -> int:
    """Take so many bytes of memory."""
    return int(np.ones(size // 8).size)
