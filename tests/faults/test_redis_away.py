"""Answers between replicas through Redis, and what stands there that is not an answer of ours."""

from collections.abc import Callable, Iterator

import pytest
from redis import Redis

from loopmargin_service.http.redis_store import MARK
from tests.faults.redis_process import RedisProcess, redis_process
from tests.faults.replica import AWAY, HIT, JSON, MISS, Replica
from tests.faults.rubbish import rubbish_server


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
        assert replica.ask(1) == (1.0, AWAY)
        assert replica.ask(1) == (1.0, HIT)
        assert replica.degraded()


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
            assert replica.ask(4)[0] == 4.0
            assert replica.ask(5)[0] == 5.0
