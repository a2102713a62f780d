"""Every answer is given, and given right, whatever becomes of the shared store."""

import time
from collections.abc import Callable, Iterator

import pytest
from litestar.testing import TestClient
from redis import Redis

from loopmargin_service.http.app import create_app
from loopmargin_service.http.redis_store import MARK, PAUSE_S
from loopmargin_service.http.settings import Settings
from tests.faults.redis_process import RedisProcess, redis_process
from tests.faults.rubbish import rubbish_server
from tests.unit.http.parcel import Counter, parcel_routes

JSON = {"content-type": "application/json"}
MISS = "loopmargin-answers; fwd=miss; stored"
AWAY = f"{MISS}; detail=store-unavailable"
HIT = "loopmargin-answers; hit"
# A deadline of 0.08 s for each of two calls, and room for a busy machine.
FIRST_S = 0.6


@pytest.fixture(scope="module")
def server() -> Iterator[RedisProcess]:
    """Run one server for all tests."""
    with redis_process() as running:
        yield running


@pytest.fixture
def redis(server: RedisProcess) -> Iterator[Redis]:
    """Look into the server from outside, emptied."""
    with Redis(port=server.port) as direct:
        direct.flushall()
        yield direct


class Replica:
    """One replica with nothing in its own memory."""

    def __init__(self, url: str) -> None:
        self.counter = Counter()
        app = create_app(Settings(redis_url=url), parcel_routes(self.counter))
        self.client = TestClient(app)

    def ask(self, edge: int = 1) -> tuple[float, str]:
        """Ask about a parcel of one edge; give its total and the state of the store."""
        body = b'{"edges_mm":[%d]}' % edge
        response = self.client.post("/v1/parcel", content=body, headers=JSON)
        assert response.status_code == 200
        return response.json()["state"]["total_mm"], response.headers["cache-status"]


@pytest.fixture
def replica(server: RedisProcess, redis: Redis) -> Iterator[Replica]:
    """Run one replica on the server."""
    assert redis.ping()
    alone = Replica(server.url)
    with alone.client:
        yield alone


def key_of(redis: Redis) -> str:
    """Name the one answer that is stored."""
    (key,) = redis.keys("loopmargin:answer:*")
    assert isinstance(key, bytes)
    return key.decode()


def test_one_replica_computes_and_all_answer(
    replica: Replica, server: RedisProcess, redis: Redis
) -> None:
    """Stored with its time to live, found by another replica without computing."""
    assert replica.ask() == (1.0, MISS)
    other = Replica(server.url)

    with other.client:
        assert other.ask() == (1.0, HIT)

    assert other.counter.calls == 0
    assert 86_000 < redis.ttl(key_of(redis)) <= 86_400


def test_a_stored_answer_is_got_from_any_replica(replica: Replica, server: RedisProcess) -> None:
    """The digest is enough."""
    body = b'{"edges_mm":[7]}'
    asked = replica.client.post("/v1/parcel", content=body, headers=JSON)
    other = Replica(server.url)

    with other.client:
        answer = other.client.get(asked.headers["content-location"]).json()
        assert answer["state"]["total_mm"] == 7.0


DAMAGE: dict[str, Callable[[bytes], bytes]] = {
    "empty": lambda _: b"",
    "foreign": lambda _: b"x" * 1000,
    "cut off": lambda value: value[:-1],
    "longer": lambda value: value + b" ",
    "one byte changed": lambda value: value[:-2] + b"9}",
    "old edition": lambda value: value.replace(b"2026", b"2025", 1),
    "other format": lambda value: value.replace(b"loopmargin/1", b"loopmargin/2"),
    "mark alone": lambda _: MARK,
}


@pytest.mark.parametrize("damage", DAMAGE.values(), ids=DAMAGE.keys())
def test_a_damaged_or_foreign_value_is_a_miss(
    replica: Replica, server: RedisProcess, redis: Redis, damage: Callable[[bytes], bytes]
) -> None:
    """It is computed again and stored right."""
    replica.ask()
    key = key_of(redis)
    whole = redis.get(key)
    assert isinstance(whole, bytes)
    assert damage(whole) != whole
    redis.set(key, damage(whole))
    other = Replica(server.url)

    with other.client:
        assert other.ask() == (1.0, MISS)

    assert redis.get(key) == whole


def test_an_answer_under_another_digest_is_a_miss(
    replica: Replica, server: RedisProcess, redis: Redis
) -> None:
    """The checksum covers the name."""
    replica.ask(1)
    first = key_of(redis)
    value = redis.get(first)
    redis.flushall()
    replica.ask(2)
    redis.set(key_of(redis), value)  # type: ignore[arg-type]
    other = Replica(server.url)

    with other.client:
        assert other.ask(2) == (2.0, MISS)


def test_a_value_of_another_type_is_a_miss(
    replica: Replica, server: RedisProcess, redis: Redis
) -> None:
    """Somebody else's list stands under our key."""
    replica.ask()
    key = key_of(redis)
    redis.delete(key)
    redis.lpush(key, "x")
    other = Replica(server.url)

    with other.client:
        assert other.ask() == (1.0, MISS)

    assert redis.type(key) == b"string"


def test_a_store_that_was_never_there_costs_nothing_but_itself() -> None:
    """Refused connections: answered at once, and told."""
    with redis_process() as gone:
        url = gone.url
    replica = Replica(url)

    with replica.client:
        start = time.perf_counter()
        assert replica.ask(1) == (1.0, AWAY)
        assert time.perf_counter() - start < FIRST_S
        assert replica.ask(1) == (1.0, HIT)
        ready = replica.client.get("/readyz")

    assert (ready.status_code, ready.json()["degraded"]) == (200, ["answer_store"])


def test_a_store_that_is_stopped_and_comes_back() -> None:
    """Answers go on; after a pause the store is used again."""
    with redis_process() as server:
        replica = Replica(server.url)
        with replica.client:
            assert replica.ask(1) == (1.0, MISS)
            server.stop()
            assert replica.ask(2) == (2.0, AWAY)
            server.start()
            time.sleep(PAUSE_S)
            assert replica.ask(3) == (3.0, MISS)


def test_a_frozen_store_costs_one_deadline(replica: Replica, server: RedisProcess) -> None:
    """The first request waits a little, the next ones not at all; health says what is missing."""
    replica.ask(100)
    server.freeze()
    try:
        start = time.perf_counter()
        assert replica.ask(101) == (101.0, AWAY)
        first = time.perf_counter() - start
        start = time.perf_counter()
        assert [replica.ask(edge) for edge in range(10)] == [(float(e), AWAY) for e in range(10)]
        next_ten = time.perf_counter() - start
        live, ready = (replica.client.get(path) for path in ("/livez", "/readyz"))
    finally:
        server.thaw()

    assert first < FIRST_S
    assert next_ten < 0.5
    assert (
        live.status_code,
        ready.status_code,
        ready.json()["degraded"],
    ) == (200, 200, ["answer_store"])


def test_after_a_thaw_the_store_is_used_again(replica: Replica, server: RedisProcess) -> None:
    """A late reply to an abandoned call is never taken for another's."""
    server.freeze()
    assert replica.ask(1) == (1.0, AWAY)
    server.thaw()
    time.sleep(PAUSE_S)

    assert [replica.ask(edge) for edge in range(2, 6)] == [(float(e), MISS) for e in range(2, 6)]


@pytest.mark.parametrize(
    "said",
    [
        pytest.param(b"-LOADING the dataset is in memory soon\r\n", id="loading"),
        pytest.param(b"-NOAUTH Authentication required.\r\n", id="key wanted"),
        pytest.param(b"-READONLY You can't write against a replica.\r\n", id="read only"),
        pytest.param(b"+OK\r\n$100\r\ncut off", id="cut off"),
        pytest.param(b"HTTP/1.1 400 Bad Request\r\n\r\n", id="another protocol"),
        pytest.param(b"\x00\xff" * 100, id="noise"),
        pytest.param(b"$99999999999\r\n", id="absurd length"),
        pytest.param(b"*-7\r\n", id="absurd list"),
        pytest.param(b":1\r\n" * 50, id="numbers"),
        pytest.param(b"", id="hangs up"),
    ],
)
def test_a_server_that_talks_rubbish_is_away(said: bytes) -> None:
    """Whatever listens on that port, the answer is right and soon there."""
    with rubbish_server(said) as url:
        replica = Replica(url)
        with replica.client:
            start = time.perf_counter()
            assert replica.ask(4)[0] == 4.0
            assert time.perf_counter() - start < FIRST_S
            assert replica.ask(5)[0] == 5.0


def test_a_full_store_is_told_and_nothing_more(replica: Replica, redis: Redis) -> None:
    """Writing is refused for want of memory."""
    redis.config_set("maxmemory", "1")
    try:
        assert replica.ask(8) == (8.0, AWAY)
    finally:
        redis.config_set("maxmemory", "64mb")
