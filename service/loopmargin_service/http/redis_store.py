"""Answers shared between replicas in Redis: never waited for long, never trusted blindly.

Each call has one short deadline and no second try. After a failure nothing is asked for
a while, so that a store that hangs costs one deadline and not one a request. A value
carries our mark, the edition and a checksum over key and bytes: whatever else stands
under the key is a miss.
"""

import asyncio
import logging
import time
from collections.abc import Awaitable, Callable
from hashlib import blake2b
from typing import TypeVar

from redis.asyncio import Redis
from redis.asyncio.connection import ConnectionPool
from redis.asyncio.retry import Retry
from redis.backoff import NoBackoff
from redis.exceptions import RedisError, ResponseError
from redis.exceptions import TimeoutError as RedisTimeoutError

from loopmargin_service.http.store import Unavailable

MARK = b"loopmargin/1\n"
CHECKSUM_BYTES = 16
CALL_TIMEOUT_S = 0.08
PAUSE_S = 1.0
MOST_CONNECTIONS = 64
LOG = logging.getLogger("loopmargin")
TimeoutErrors = (TimeoutError, RedisTimeoutError)
T = TypeVar("T")


class Breaker:
    """Open after a failure; one call is let through after a pause to see if it is over."""

    def __init__(
        self, pause_s: float = PAUSE_S, clock: Callable[[], float] = time.monotonic
    ) -> None:
        self._pause_s = pause_s
        self._clock = clock
        self._closed_from_s = 0.0
        self._failed = False

    @property
    def open(self) -> bool:
        """Whether the last call failed and no later one has succeeded."""
        return self._failed

    def allows(self) -> bool:
        """Tell whether a call may be made; the one that is let through moves the pause on."""
        if not self._failed:
            return True
        now_s = self._clock()
        if now_s < self._closed_from_s:
            return False
        self._closed_from_s = now_s + self._pause_s
        return True

    def note(self, *, failed: bool) -> None:
        """Take note of how a call ended."""
        self._failed = failed
        self._closed_from_s = self._clock() + self._pause_s


class RedisStore:
    """The shared store on one Redis or Valkey server."""

    def __init__(
        self,
        url: str,
        edition: str,
        ttl_s: int,
        breaker: Breaker | None = None,
        failed: Callable[[str], None] = lambda _kind: None,
    ) -> None:
        pool = ConnectionPool.from_url(
            url,
            max_connections=MOST_CONNECTIONS,
            socket_timeout=CALL_TIMEOUT_S,
            socket_connect_timeout=CALL_TIMEOUT_S,
            retry=Retry(NoBackoff(), 0),
        )
        self._redis = Redis.from_pool(pool)
        self._head = MARK + edition.encode() + b"\n"
        self._ttl_s = ttl_s
        self.breaker = breaker or Breaker()
        self.degraded = False
        self._failed = failed

    async def fetch(self, digest: str) -> bytes | None:
        """Return the answer, or nothing when what stands there is not ours."""
        try:
            value = await self._call(lambda: self._redis.get(_key(digest)))
        except Unavailable as error:
            if str(error).startswith("WRONGTYPE"):
                return None
            raise
        return self._opened(digest, value) if isinstance(value, bytes) else None

    async def keep(self, digest: str, answer: bytes) -> None:
        """Store an answer for its time to live."""
        value = self._head + _checksum(digest, answer) + answer
        await self._call(lambda: self._redis.set(_key(digest), value, ex=self._ttl_s))

    async def usable(self) -> bool:
        """Tell whether the server answers, without waiting out a pause."""
        try:
            await self._call(self._redis.ping)
        except Unavailable:
            return False
        return True

    async def close(self) -> None:
        """Close every connection."""
        await self._redis.aclose()

    async def _call(self, send: Callable[[], Awaitable[T]]) -> T:
        if not self.breaker.allows():
            self._failed("paused")
            raise Unavailable
        try:
            async with asyncio.timeout(CALL_TIMEOUT_S):
                value = await send()
        except ResponseError as error:
            # The server is there and says no: nobody waited, so nothing has to be spared.
            self.breaker.note(failed=False)
            self._note("rejected")
            raise Unavailable(str(error)) from error
        except (RedisError, OSError, TimeoutError, ValueError) as error:
            self.breaker.note(failed=True)
            self._note("timeout" if isinstance(error, TimeoutErrors) else "refused")
            raise Unavailable(str(error)) from error
        self.breaker.note(failed=False)
        self._note("")
        return value

    def _note(self, kind: str) -> None:
        """Count a failure, and log when the store goes away or comes back."""
        if kind:
            self._failed(kind)
        if self.degraded != bool(kind):
            self.degraded = bool(kind)
            LOG.warning("shared store %s", f"degraded: {kind}" if kind else "recovered")

    def _opened(self, digest: str, value: bytes) -> bytes | None:
        start = len(self._head) + CHECKSUM_BYTES
        answer = value[start:]
        if value[:start] == self._head + _checksum(digest, answer):
            return answer
        self._failed("foreign")
        return None


def _key(digest: str) -> str:
    return f"loopmargin:answer:{digest}"


def _checksum(digest: str, answer: bytes) -> bytes:
    return blake2b(answer, digest_size=CHECKSUM_BYTES, key=digest.encode()).digest()
