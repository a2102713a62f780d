"""The breaker in front of Redis, and the one deadline of every call."""

import asyncio
from collections.abc import Awaitable, Callable
from typing import Any

import pytest
from redis.exceptions import ConnectionError as ConnectionFailed
from redis.exceptions import OutOfMemoryError, ReadOnlyError, ResponseError

from loopmargin_service.http.redis_link import (
    CALL_TIMEOUT_S,
    GRACE_S,
    PAUSE_S,
    Breaker,
    RedisLink,
)
from loopmargin_service.http.store import Unavailable
from tests.unit.http.test_store import Clock
from tests.virtual_time import now_s, run

MOMENT_S = 1e-6
Act = Callable[[], Awaitable[object]]


class Server:
    """Stands in for the client: each call does what is set to be done now."""

    def __init__(self) -> None:
        self.act: Act = self.works
        self.calls = self.dropped = 0
        self.connection_pool = self

    async def set(self, *_: object, **__: object) -> object:
        """Write something."""
        self.calls += 1
        return await self.act()

    async def get(self, *_: object) -> object:
        """Read something."""
        return await self.set()

    async def disconnect(self, *, inuse_connections: bool) -> None:
        """Drop idle connections."""
        assert not inuse_connections
        self.dropped += 1

    async def works(self) -> object:
        """Answer."""
        return b"value"

    async def mumbles(self) -> object:
        """Answer something else."""
        return None

    async def hangs(self) -> object:
        """Answer nothing."""
        await asyncio.Event().wait()
        return None

    def says(self, error: Exception) -> Act:
        """Refuse or break."""

        async def refuse() -> object:
            raise error

        return refuse


class Scene:
    """A link to such a server on a virtual clock."""

    def __init__(self) -> None:
        self.server = Server()
        redis: Any = self.server
        self.kinds: list[str] = []
        self.link = RedisLink(redis, failed=self.kinds.append, breaker=Breaker(clock=now_s))

    async def ask(self) -> bool:
        """Call once; tell whether it went through."""
        try:
            return await self.link.call(lambda redis: redis.get("key")) == b"value"
        except Unavailable:
            return False

    async def took(self) -> tuple[bool, float]:
        """Call once; tell whether it went through and how long it took."""
        start_s = now_s()
        return await self.ask(), now_s() - start_s


def test_a_breaker_looks_at_once_and_then_once_a_pause() -> None:
    """Closed until something fails; then whoever is told to look is the only one."""
    clock = Clock()
    breaker = Breaker(1.0, clock)
    assert breaker.closed
    breaker.open()
    assert [breaker.closed, *(breaker.look_due() for _ in range(3))] == [False, True, False, False]
    clock.now_s = 0.5
    breaker.open()
    assert breaker.look_due() is False
    clock.now_s = 1.0
    assert [breaker.look_due() for _ in range(2)] == [True, False]
    breaker.close()
    assert breaker.closed


def test_a_server_that_hangs_costs_one_deadline_and_then_nothing() -> None:
    """All later calls are spared, however long it hangs; looks are made beside them."""

    async def scene() -> None:
        here = Scene()
        here.server.act = here.server.hangs
        first = await here.took()
        later = []
        for _ in range(100):
            later.append(await here.took())
            await asyncio.sleep(0.1)
        assert first == (False, pytest.approx(CALL_TIMEOUT_S + GRACE_S, abs=MOMENT_S))
        assert later == [(False, pytest.approx(0.0, abs=MOMENT_S))] * 100
        assert 10.0 / PAUSE_S - 1 <= here.server.calls - 1 <= 10.0 / PAUSE_S + 1
        await asyncio.sleep(1.0)

    run(scene())


def test_calls_of_the_same_moment_wait_beside_each_other() -> None:
    """Two hundred callers together wait one deadline."""

    async def scene() -> None:
        here = Scene()
        here.server.act = here.server.hangs
        assert await asyncio.gather(*(here.ask() for _ in range(200))) == [False] * 200
        assert now_s() == pytest.approx(CALL_TIMEOUT_S + GRACE_S, abs=MOMENT_S)

    run(scene())


@pytest.mark.parametrize("error", [ConnectionFailed("reset"), ReadOnlyError("replica"), OSError()])
def test_after_a_failure_a_look_finds_the_server_again(error: Exception) -> None:
    """The next call is answered without it, the one after that with it, on new connections."""

    async def scene() -> None:
        here = Scene()
        here.server.act = here.server.says(error)
        assert await here.ask() is False
        here.server.act = here.server.works
        assert await here.ask() is False
        await asyncio.sleep(0.001)
        assert await here.ask() is True
        assert (here.server.dropped, here.link.degraded) == (1, False)
        assert here.kinds[1:] == ["paused"]

    run(scene())


def test_a_server_that_says_no_is_there() -> None:
    """Nobody waited, so calls go on; that it refuses is told until a look could write."""

    async def scene() -> None:
        here = Scene()
        here.server.act = here.server.says(OutOfMemoryError("full"))
        assert [await here.ask() for _ in range(3)] == [False] * 3
        assert here.server.calls == 3
        await asyncio.sleep(0.001)
        assert (here.link.degraded, here.link.breaker.closed) == (True, True)
        assert await here.link.usable() is False
        here.server.act = here.server.works
        await asyncio.sleep(PAUSE_S)
        assert await here.ask() is True
        await asyncio.sleep(0.001)
        assert here.link.degraded is False

    run(scene())


def test_a_server_that_does_not_acknowledge_is_of_no_use() -> None:
    """It answers, but not what a store answers."""

    async def scene() -> None:
        here = Scene()
        here.server.act = here.server.mumbles
        assert await here.link.usable() is False
        assert here.link.degraded is True

    run(scene())


def test_what_stands_wrong_under_one_key_says_nothing_of_the_server() -> None:
    """Somebody else's list."""

    async def scene() -> None:
        here = Scene()
        here.server.act = here.server.says(ResponseError("WRONGTYPE Operation against a key"))
        assert await here.ask() is False
        assert (here.link.degraded, here.kinds) == (False, ["rejected"])

    run(scene())


def test_health_looks_when_a_look_is_due_and_else_knows() -> None:
    """Asking for health never waits out a pause, and finds a server that came back."""

    async def scene() -> None:
        here = Scene()
        here.server.act = here.server.hangs
        assert await here.link.usable() is False
        assert await here.link.usable() is False
        calls = here.server.calls
        assert await here.link.usable() is False
        assert here.server.calls == calls
        here.server.act = here.server.works
        await asyncio.sleep(PAUSE_S)
        assert await here.link.usable() is True
        assert await here.ask() is True

    run(scene())


def test_a_late_event_loop_is_not_a_late_server() -> None:
    """What arrived while the loop was busy is read before the deadline is held to be missed."""

    async def scene() -> None:
        here = Scene()
        loop = asyncio.get_running_loop()

        async def arrives() -> object:
            arrival: asyncio.Future[bytes] = loop.create_future()
            # The loop sees the deadline first and the arrival, long past as well, after it.
            loop.call_later(CALL_TIMEOUT_S + GRACE_S / 2.0, arrival.set_result, b"value")
            return await arrival

        here.server.act = arrives
        assert await here.ask() is True
        assert here.link.breaker.closed

    run(scene())


def test_a_caller_who_leaves_says_nothing_of_the_server() -> None:
    """Being cancelled is not a failure, and closing stops a look under way."""

    async def scene() -> None:
        here = Scene()
        here.server.act = here.server.hangs
        caller = asyncio.create_task(here.ask())
        await asyncio.sleep(CALL_TIMEOUT_S / 2.0)
        caller.cancel()
        await asyncio.sleep(0)
        assert (caller.cancelled(), here.link.breaker.closed) == (True, True)

    run(scene())
