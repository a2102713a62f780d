"""Ask at a steady rate whatever comes back, as callers who know nothing of each other do.

Each request is due at a moment of its own and timed from that moment. It is sent on a
connection that is idle, or on a new one. No two questions are equal.
"""

import asyncio
import itertools
import time
from collections import deque
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import cast
from urllib.parse import urlsplit

import numpy as np

# More connections than callers behind a proxy have; what finds none is counted as not sent.
MOST_CONNECTIONS = 1000
TICK_S = 0.001
ANSWERED = 200
# How long the last answers are waited for.
LAST_S = 40.0


@dataclass
class Heard:
    """What came back: for each status the moment it was due and the time it took. [s]"""

    due_s: list[float] = field(default_factory=list)
    took_s: list[float] = field(default_factory=list)
    status: list[int] = field(default_factory=list)
    unsent: int = 0
    lost: int = 0

    def note(self, due_s: float, took_s: float, status: int) -> None:
        """Take note of one answer."""
        self.due_s.append(due_s)
        self.took_s.append(took_s)
        self.status.append(status)

    def count(self, status: int) -> int:
        """Count the answers of one status."""
        return self.status.count(status)

    def answered(self, from_s: float, until_s: float) -> int:
        """Count the answers that came within a time."""
        rows = zip(self.due_s, self.took_s, self.status, strict=True)
        return sum(
            status == ANSWERED and from_s <= due_s + took_s < until_s
            for due_s, took_s, status in rows
        )

    def due_within(self, from_s: float, until_s: float) -> "Heard":
        """Give what was due within a time."""
        heard = Heard()
        for row in zip(self.due_s, self.took_s, self.status, strict=True):
            if from_s <= row[0] < until_s:
                heard.note(*row)
        return heard

    def took(self, status: int, share: float) -> float:
        """Time within which a share of the answers of one status came; 0 without any. [s]"""
        times = [took for took, one in zip(self.took_s, self.status, strict=True) if one == status]
        return float(np.quantile(times, share)) if times else 0.0


class Questions:
    """Requests for one path, each with a number of its own in one field of the body."""

    def __init__(self, url: str, path: str, body: bytes, field_name: str, first: float) -> None:
        parts = urlsplit(url)
        assert parts.hostname
        assert parts.port
        self.address = (parts.hostname, parts.port)
        # The first field of that name; how it is spelled otherwise does not matter.
        head, value = body.split(f'"{field_name}":'.encode(), 1)
        digits = len(value) - len(value.lstrip(b" 0123456789.-"))
        self._before, self._after = head + f'"{field_name}":'.encode(), value[digits:]
        self._values = (first + 1e-4 * number for number in itertools.count())
        self._head = (
            f"POST {path} HTTP/1.1\r\nhost: {parts.netloc}\r\ncontent-type: application/json\r\n"
        ).encode()

    def __next__(self) -> bytes:
        """Write the next request."""
        body = self._before + f"{next(self._values):.4f}".encode() + self._after
        return b"%bcontent-length: %d\r\n\r\n%b" % (self._head, len(body), body)

    def __iter__(self) -> Iterator[bytes]:
        """Go on for ever."""
        return self


class Repeated:
    """Requests for one path with one body, again and again."""

    def __init__(self, url: str, path: str, body: bytes) -> None:
        parts = urlsplit(url)
        assert parts.hostname
        assert parts.port
        self.address = (parts.hostname, parts.port)
        self._request = (
            f"POST {path} HTTP/1.1\r\nhost: {parts.netloc}\r\ncontent-type: application/json\r\n"
            f"content-length: {len(body)}\r\n\r\n"
        ).encode() + body

    def __next__(self) -> bytes:
        """Write the next request."""
        return self._request


class _Connection(asyncio.Protocol):
    """One connection; it has one request under way or none."""

    def __init__(self, load: "OpenLoop") -> None:
        self._load = load
        self._heard = b""
        self._expected = 0
        self._due_s: float | None = None

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        # That of uvloop is one without being derived from it.
        self.transport = cast("asyncio.Transport", transport)

    def ask(self, request: bytes, due_s: float) -> None:
        """Send one request."""
        self._heard, self._expected, self._due_s = b"", 0, due_s
        self.transport.write(request)

    def data_received(self, data: bytes) -> None:
        self._heard += data
        if not self._expected:
            end = self._heard.find(b"\r\n\r\n")
            if end < 0:
                return
            head = self._heard[:end].lower()
            at = head.find(b"content-length: ") + 16
            self._expected = end + 4 + int(head[at : at + 9].split(b"\r", 1)[0])
        if len(self._heard) >= self._expected and self._due_s is not None:
            due_s, self._due_s = self._due_s, None
            self._load.answered(self, due_s, int(self._heard[9:12]))

    def connection_lost(self, _error: Exception | None) -> None:
        self._load.gone(self, under_way=self._due_s is not None)


class OpenLoop:
    """Asks questions at a rate for a time; the connections stay for the next rate.

    One that is `awake` looks at the clock all the time, and needs a core for itself: it asks in
    time, and to wake it costs nobody anything.
    """

    def __init__(self, questions: Questions | Repeated, *, awake: bool = False) -> None:
        self._questions = questions
        self._tick_s = 0.0 if awake else TICK_S
        self._idle: deque[_Connection] = deque()
        self._connections: set[_Connection] = set()
        self._open = 0
        self._under_way = 0
        self.heard = Heard()

    async def run(self, per_s: float, seconds: float) -> Heard:
        """Ask, then wait for the last answers."""
        self.heard = heard = Heard()
        began = time.perf_counter()
        asked = 0
        while (now := time.perf_counter() - began) < seconds:
            while asked < now * per_s:
                self._ask(began + asked / per_s)
                asked += 1
            await asyncio.sleep(self._tick_s)
        await self._last()
        return heard

    async def saturate(self, callers: int, seconds: float) -> float:
        """Ask over so many connections, each as soon as it has an answer; give answers a second."""
        self.heard = heard = Heard()
        began = time.perf_counter()
        while (now := time.perf_counter()) - began < seconds:
            for _ in range(callers - self._under_way):
                self._ask(now)
            await asyncio.sleep(TICK_S)
        answers = heard.count(200)
        await self._last()
        return answers / seconds

    async def close(self) -> None:
        """Hang up on all."""
        for connection in list(self._connections):
            connection.transport.close()
        while self._connections:  # noqa: ASYNC110 - a bench may look
            await asyncio.sleep(TICK_S)

    async def _last(self) -> None:
        """Wait for what is under way, so that it does not burden the next rate."""
        until = time.perf_counter() + LAST_S
        while self._under_way and time.perf_counter() < until:  # noqa: ASYNC110 - a bench may look
            await asyncio.sleep(TICK_S)

    def _ask(self, due_s: float) -> None:
        request = next(self._questions)
        if self._idle:
            self._under_way += 1
            self._idle.pop().ask(request, due_s)
        elif self._open < MOST_CONNECTIONS:
            self._open += 1
            self._under_way += 1
            asyncio.ensure_future(self._ask_anew(request, due_s)).add_done_callback(_look)
        else:
            self.heard.unsent += 1

    async def _ask_anew(self, request: bytes, due_s: float) -> None:
        loop = asyncio.get_running_loop()
        host, port = self._questions.address
        try:
            _, connection = await loop.create_connection(lambda: _Connection(self), host, port)
        except OSError:
            self._open -= 1
            self._under_way -= 1
            self.heard.lost += 1
            return
        self._connections.add(connection)
        connection.ask(request, due_s)

    def answered(self, connection: _Connection, due_s: float, status: int) -> None:
        """Take note of an answer; its connection is idle again."""
        self._under_way -= 1
        self.heard.note(due_s, time.perf_counter() - due_s, status)
        self._idle.append(connection)

    def gone(self, connection: _Connection, *, under_way: bool) -> None:
        """Forget a connection; a request that was under way on it is lost."""
        self._open -= 1
        self._connections.discard(connection)
        if under_way:
            self._under_way -= 1
            self.heard.lost += 1
        elif connection in self._idle:
            self._idle.remove(connection)


def _look(task: "asyncio.Task[None]") -> None:
    """Let no failure pass unseen."""
    task.result()
