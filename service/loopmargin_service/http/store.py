"""The answer store: in this process, bounded in bytes, and shared behind it if there is one.

An answer is kept once as JSON under its digest, and once more ready to send under the
exact request that led to it, so that an equal request needs no decoding. The store is
the service's own memory of pure calculations, not an HTTP cache: losing it costs time
and changes no answer.
"""

import time
from collections import OrderedDict
from collections.abc import Callable
from typing import NamedTuple, Protocol

from loopmargin_service.http.reply import Reply

# Python's own memory for one entry beside the bytes it holds.
ENTRY_BYTES = 400


class RequestKey(NamedTuple):
    """Everything of a request that its answer depends on."""

    path: str
    content_type: bytes
    accept: bytes
    body: bytes


class Unavailable(Exception):  # noqa: N818 - a state of the shared store, not a mishap of ours
    """The shared store cannot be used now."""


class SharedStore(Protocol):
    """What the answer store needs of a store that several replicas share."""

    async def fetch(self, digest: str) -> bytes | None:
        """Return the answer, or nothing when it is not there or not ours."""

    async def keep(self, digest: str, answer: bytes) -> None:
        """Store an answer for its time to live."""

    async def lease(self, digest: str, for_s: float) -> str | None:
        """Take the turn to compute an answer; give what it is given back with, if it was free."""

    async def release(self, digest: str, token: str) -> None:
        """Give the turn back, unless it has become another's."""

    async def usable(self) -> bool:
        """Tell whether the store answers."""

    async def close(self) -> None:
        """Give the connections back."""


class Found(NamedTuple):
    """What a look-up brought: the answer as JSON if any, and whether the shared store worked."""

    answer: bytes | None
    available: bool = True


class _Kept(NamedTuple):
    value: Reply | bytes
    size: int
    until_s: float


class AnswerStore:
    """Answers of this process, least recently used out first; the shared store behind them."""

    def __init__(
        self,
        limit_bytes: int,
        ttl_s: int,
        shared: SharedStore | None = None,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self.ttl_s = ttl_s
        self.shared = shared
        self.held_bytes = 0
        self._limit_bytes = limit_bytes
        self._clock = clock
        self._kept: OrderedDict[RequestKey | str, _Kept] = OrderedDict()

    def __len__(self) -> int:
        """Count what is held in this process."""
        return len(self._kept)

    def ready(self, key: RequestKey) -> Reply | None:
        """Return the reply to an exactly equal request."""
        value = self._get(key)
        return value if isinstance(value, Reply) else None

    def held(self, digest: str) -> bytes | None:
        """Return an answer from this process only."""
        value = self._get(digest)
        return value if isinstance(value, bytes) else None

    async def find(self, digest: str) -> Found:
        """Look in this process, then in the shared store; what came from there is held too."""
        answer = self.held(digest)
        if answer is not None or self.shared is None:
            return Found(answer)
        try:
            answer = await self.shared.fetch(digest)
        except Unavailable:
            # Another request may have computed it while this one waited.
            return Found(self.held(digest), available=False)
        if answer is None:
            return Found(self.held(digest))
        self.hold(digest, answer)
        return Found(answer)

    def hold(self, digest: str, answer: bytes) -> None:
        """Store an answer in this process only."""
        self._put(digest, answer, len(answer))

    async def keep(self, digest: str, answer: bytes) -> bool:
        """Store an answer in both places; tell whether the shared one took it."""
        self.hold(digest, answer)
        if self.shared is None:
            return True
        try:
            await self.shared.keep(digest, answer)
        except Unavailable:
            return False
        return True

    def make_ready(self, key: RequestKey, reply: Reply) -> None:
        """Keep a reply for the next request that is equal byte for byte."""
        headers = len(reply.head) + sum(len(name) + len(value) for name, value in reply.headers)
        asked = len(key.body) + len(key.path) + len(key.content_type) + len(key.accept)
        self._put(key, reply, asked + headers + len(reply.body))

    async def shared_usable(self) -> bool:
        """Tell whether the shared store, if there is one, answers."""
        return self.shared is None or await self.shared.usable()

    async def close(self) -> None:
        """Let go of the shared store."""
        if self.shared is not None:
            await self.shared.close()

    def _get(self, key: RequestKey | str) -> Reply | bytes | None:
        kept = self._kept.get(key)
        if kept is None:
            return None
        if kept.until_s <= self._clock():
            self._drop(key)
            return None
        self._kept.move_to_end(key)
        return kept.value

    def _put(self, key: RequestKey | str, value: Reply | bytes, size: int) -> None:
        if key in self._kept:
            self._drop(key)
        size += ENTRY_BYTES
        if size > self._limit_bytes:
            return
        self._kept[key] = _Kept(value, size, self._clock() + self.ttl_s)
        self.held_bytes += size
        while self.held_bytes > self._limit_bytes:
            self._drop(next(iter(self._kept)))

    def _drop(self, key: RequestKey | str) -> None:
        self.held_bytes -= self._kept.pop(key).size
