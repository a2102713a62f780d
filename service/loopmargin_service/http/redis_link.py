"""The one way to Redis: never waited for long, and not at all while it is known to be away.

A call has one short deadline and no second try. After a failure nothing is asked of the
server until a look at it, made beside the questions and not before them, has succeeded;
so a server that hangs costs the calls of one moment a deadline, and later ones nothing.
"""

import asyncio
import logging
import time
from collections.abc import Awaitable, Callable
from typing import Any, TypeVar
from urllib.parse import urlsplit

from redis.asyncio import BlockingConnectionPool, Redis
from redis.asyncio.retry import Retry
from redis.backoff import NoBackoff
from redis.exceptions import ReadOnlyError, RedisError, ResponseError
from redis.exceptions import TimeoutError as ClientTimeoutError

from loopmargin_service.http.phases import phase
from loopmargin_service.http.store import Unavailable

# Two calls of one question, looking up and storing, stay within a tenth of a second.
CALL_TIMEOUT_S = 0.04
# What arrived while the event loop was busy elsewhere is still read in this time.
GRACE_S = 0.01
PAUSE_S = 1.0
MOST_CONNECTIONS = 16
# The client's own limits only back ours up, and bound what nobody waits for.
CLIENT_TIMEOUT_S = 1.0
LOOK_KEY = "loopmargin:look"
LOOK_TTL_S = 60

WRONG_TYPE = "WRONGTYPE"
LOG = logging.getLogger("loopmargin")
Client = Redis
T = TypeVar("T")


def client(url: str, timeout_s: float) -> Client:
    """Make the client of a server: few connections, no second try, limits behind our own."""
    longest_s = max(CLIENT_TIMEOUT_S, 2.0 * timeout_s)
    pool = BlockingConnectionPool.from_url(
        url,
        max_connections=MOST_CONNECTIONS,
        socket_timeout=longest_s,
        socket_connect_timeout=longest_s,
        retry=Retry(NoBackoff(), 0),
    )
    return Redis.from_pool(pool)


def require_usable(url: str) -> None:
    """Raise ValueError, which shows nothing of the address, where no client can use it."""
    try:
        pool = client(url, CALL_TIMEOUT_S).connection_pool
        made = pool.connection_class(**pool.connection_kwargs)
    except Exception:  # noqa: BLE001 - the library raises many kinds, and some quote a password
        raise ValueError(
            "it is no address of a store, or has a parameter that the client does not know; "
            "characters such as / @ : ? # in a password are written as %2F %40 %3A %3F %23"
        ) from None
    number = urlsplit(url).path.strip("/")
    if not url.startswith("unix:") and number not in ("", str(getattr(made, "db", ""))):
        raise ValueError("what follows the port is the number of a database, such as /0")


class Breaker:
    """Open from a failure until a look has succeeded; looks are a pause apart."""

    def __init__(
        self, pause_s: float = PAUSE_S, clock: Callable[[], float] = time.monotonic
    ) -> None:
        self.closed = True
        self._pause_s = pause_s
        self._clock = clock
        self._look_from_s = clock()

    def open(self) -> None:
        """Let nothing through; the first look is due at once, as many failures are short."""
        if self.closed:
            self.closed = False
            self._look_from_s = self._clock()

    def close(self) -> None:
        """Let everything through."""
        self.closed = True

    def look_due(self) -> bool:
        """Tell whether it is time to look; whoever is told so has to."""
        now_s = self._clock()
        if now_s < self._look_from_s:
            return False
        self._look_from_s = now_s + self._pause_s
        return True


class RedisLink:
    """Calls to one Redis or Valkey server, for everything that the replicas share.

    `failed` is told of each call that fails, by one word; `degraded` says whether answers
    are given without the server now, because it is away or because it refuses.
    """

    def __init__(
        self,
        redis: Client,
        timeout_s: float = CALL_TIMEOUT_S,
        failed: Callable[[str], None] = lambda _kind: None,
        breaker: Breaker | None = None,
    ) -> None:
        self.breaker = breaker or Breaker()
        self.degraded = False
        self.failed = failed
        self._redis = redis
        self._timeout_s = timeout_s
        self._look: asyncio.Task[bool] | None = None

    async def call(self, send: Callable[[Client], Awaitable[T]]) -> T:
        """Make one call, or raise `Unavailable`; at once, when the server is known to be away."""
        if self.degraded:
            self._look_beside()
        if not self.breaker.closed:
            self.failed("paused")
            raise Unavailable
        return await self._tried(send)

    async def usable(self) -> bool:
        """Tell whether the server reads and writes now; no answer of ours waits for this."""
        if self.breaker.closed or self.breaker.look_due():
            return await self._looked()
        return False

    async def close(self) -> None:
        """Close every connection."""
        if self._look is not None:
            self._look.cancel()
        await self._redis.aclose()

    async def _tried(self, send: Callable[[Client], Awaitable[T]]) -> T:
        try:
            with phase("store"):
                return await self._in_time(send)
        except ReadOnlyError as error:
            # A server that lost its first place: behind its name now stands another one.
            self.breaker.open()
            raise self._without("rejected", error) from error
        except ResponseError as error:
            # The server is there and says no: nobody waited, so nothing has to be spared.
            raise self._without("rejected", error) from error
        except (RedisError, OSError, TimeoutError, ValueError) as error:
            self.breaker.open()
            late = isinstance(error, TimeoutError | ClientTimeoutError)
            raise self._without("timeout" if late else "refused", error) from error

    async def _in_time(self, send: Callable[[Client], Awaitable[T]]) -> T:
        loop = asyncio.get_running_loop()
        async with asyncio.timeout(None) as limit:
            late = loop.call_later(self._timeout_s, lambda: limit.reschedule(loop.time() + GRACE_S))
            try:
                return await send(self._redis)
            finally:
                late.cancel()

    def _without(self, kind: str, error: Exception) -> Unavailable:
        """Take note of a failure; what only stands wrong under one key says nothing of the rest."""
        self.failed(kind)
        if not str(error).startswith(WRONG_TYPE):
            self._tell(kind)
        return Unavailable(str(error))

    def _tell(self, kind: str) -> None:
        """Log when the server goes away and when it is back."""
        if self.degraded != bool(kind):
            self.degraded = bool(kind)
            LOG.warning("shared store %s", f"degraded: {kind}" if kind else "recovered")

    def _look_beside(self) -> None:
        looking = self._look is not None and not self._look.done()
        if not looking and self.breaker.look_due():
            self._look = asyncio.create_task(self._looked())

    async def _looked(self) -> bool:
        """Write something small: a server that only reads is of no use."""
        try:
            if not self.breaker.closed:
                # Connections from before the failure may be dead and not know it yet.
                await self._redis.connection_pool.disconnect(inuse_connections=False)
            written = await self._tried(_write_little)
        except (Unavailable, RedisError, OSError):
            return False
        if not written:
            self._tell("rejected")
            return False
        self.breaker.close()
        self._tell("")
        return True


def _write_little(redis: Client) -> Awaitable[Any]:
    return redis.set(LOOK_KEY, b"", ex=LOOK_TTL_S)
