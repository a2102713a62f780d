"""Lines written by a thread of their own, so that a slow reader never holds up an answer.

A line is handed over and written within a moment, together with those that came in
meanwhile; what is handed over as a call is spelled out only then, which is cheaper many at a
time than one between two answers. When whoever reads is so slow that too many wait, lines
are dropped and counted.
"""

import os
from collections import deque
from collections.abc import Callable
from threading import Event, Thread

GATHER_S = 0.02
MOST_WAITING = 20_000
CLOSING_S = 1.0


class LineWriter:
    """Writes to an open file descriptor until it is closed; the descriptor stays open."""

    def __init__(self, descriptor: int, most_waiting: int = MOST_WAITING) -> None:
        self.dropped = 0
        self._descriptor = descriptor
        self._most = most_waiting
        self._lines: deque[bytes | Callable[[], bytes]] = deque()
        self._wake = Event()
        self._closing = Event()
        self._thread = Thread(target=self._run, name="log", daemon=True)
        self._thread.start()

    @property
    def waiting(self) -> int:
        """Count the lines that are not being written yet."""
        return len(self._lines)

    def write(self, line: bytes | Callable[[], bytes]) -> None:
        """Hand over one line, or what makes one; it ends with its line end."""
        if len(self._lines) >= self._most:
            self.dropped += 1
            return
        self._lines.append(line)
        if not self._wake.is_set():
            self._wake.set()

    def close(self) -> None:
        """Write what waits, but wait no longer than a moment for a reader that does not read."""
        self._closing.set()
        self._wake.set()
        self._thread.join(CLOSING_S)

    def _run(self) -> None:
        while not self._closing.is_set():
            self._wake.wait()
            self._closing.wait(GATHER_S)
            self._wake.clear()
            self._write_out()
        self._write_out()

    def _write_out(self) -> None:
        gathered = [self._lines.popleft() for _ in range(len(self._lines))]
        text = memoryview(b"".join([_spelled(line) for line in gathered]))
        try:
            while text:
                text = text[os.write(self._descriptor, text) :]
        except OSError:
            self.dropped += len(gathered)


def _spelled(line: bytes | Callable[[], bytes]) -> bytes:
    return line if isinstance(line, bytes) else line()
