"""The matrix of what can become of Redis: right answers before, during and after each fault.

Nothing here is timed: that a fault costs one deadline and then nothing is held on a virtual
clock in tests/unit/http/test_redis_link.py, and printed as milliseconds by the benchmark.
"""

import contextlib
from collections.abc import Callable, Iterator

import pytest
from redis import Redis

from tests.faults.redis_process import RedisProcess, redis_process
from tests.faults.replica import AWAY, HIT, MISS, Replica, eventually
from tests.faults.toxic import HARMLESS, ToxicProxy, Toxin, toxic_proxy

# As the service is set without a word, so that faults cost what they cost there.
TIMEOUT_S = 0.04
FEW = 12
Fault = Callable[[RedisProcess, ToxicProxy], contextlib.AbstractContextManager[None]]


def spoiling(toxin: Toxin) -> Fault:
    """Spoil what passes the proxy, on connections old and new."""

    @contextlib.contextmanager
    def fault(_server: RedisProcess, proxy: ToxicProxy) -> Iterator[None]:
        proxy.toxin = toxin
        if toxin.refuse:
            proxy.hang_up()
        try:
            yield
        finally:
            proxy.toxin = HARMLESS

    return fault


@contextlib.contextmanager
def frozen(server: RedisProcess, _proxy: ToxicProxy) -> Iterator[None]:
    """Let the server hold its connections and answer nothing."""
    server.freeze()
    try:
        yield
    finally:
        server.thaw()


@contextlib.contextmanager
def killed(server: RedisProcess, _proxy: ToxicProxy) -> Iterator[None]:
    """End the server, and start it again, empty, at the same place."""
    server.stop()
    try:
        yield
    finally:
        server.start()


def configured(name: str, value: str, well: str, *, hang_up: bool = False) -> Fault:
    """Set the server so that it refuses."""

    @contextlib.contextmanager
    def fault(server: RedisProcess, proxy: ToxicProxy) -> Iterator[None]:
        with Redis(port=server.port) as direct:
            direct.config_set(name, value)
            if hang_up:
                proxy.hang_up()
            try:
                yield
            finally:
                direct.config_set(name, well)

    return fault


@contextlib.contextmanager
def read_only(server: RedisProcess, _proxy: ToxicProxy) -> Iterator[None]:
    """Make the server the replica of one that is not there."""
    with Redis(port=server.port) as direct:
        direct.replicaof("127.0.0.1", "1")
        try:
            yield
        finally:
            direct.replicaof("NO", "ONE")


FAULTS: dict[str, Fault] = {
    "refused": spoiling(Toxin(refuse=True)),
    "hung": spoiling(Toxin(hang=True)),
    "frozen": frozen,
    "killed and restarted": killed,
    "slow": spoiling(Toxin(latency_s=5.0 * TIMEOUT_S)),
    "reset at once": spoiling(Toxin(reset_after=0)),
    "reset within a reply": spoiling(Toxin(reset_after=2)),
    "cut within a reply": spoiling(Toxin(cut_after=2)),
    "loading": spoiling(Toxin(replace=b"-LOADING the dataset is in memory soon\r\n")),
    "noise": spoiling(Toxin(replace=b"\x00\xff\r\n" * 20)),
    "another type": spoiling(Toxin(replace=b"*1\r\n:7\r\n")),
    "read only": read_only,
    "out of memory": configured("maxmemory", "1", "64mb"),
    "authentication demanded": configured("requirepass", "x", "", hang_up=True),
}


@pytest.fixture(scope="module")
def server() -> Iterator[RedisProcess]:
    """Run one server for all faults."""
    with redis_process() as running:
        yield running


@pytest.fixture
def proxy(server: RedisProcess) -> Iterator[ToxicProxy]:
    """Put a proxy before it."""
    with toxic_proxy(server.port) as before:
        yield before


@pytest.mark.parametrize("fault", FAULTS.values(), ids=FAULTS.keys())
def test_answers_stay_right_and_the_store_comes_back(
    server: RedisProcess, proxy: ToxicProxy, fault: Fault
) -> None:
    """Ready throughout; degraded is told while it lasts, and taken back when it is over."""
    replica = Replica(proxy.url, TIMEOUT_S)
    with replica.client:
        eventually(lambda: replica.ask_anew() == MISS)
        with fault(server, proxy):
            eventually(lambda: replica.ask_anew() == AWAY)
            eventually(replica.degraded)
            assert {replica.ask_anew() for _ in range(FEW)} <= {AWAY, MISS}
        eventually(lambda: replica.ask_anew() == MISS)
        eventually(lambda: not replica.degraded())


def test_replies_in_small_pieces_are_put_together(server: RedisProcess, proxy: ToxicProxy) -> None:
    """Slicing is no fault: another replica finds the answer through it."""
    proxy.toxin = Toxin(slice_bytes=7)
    first, second = Replica(proxy.url), Replica(proxy.url)
    with first.client, second.client:
        assert first.ask(5) == (5.0, MISS)
        assert second.ask(5) == (5.0, HIT)
    assert server.url != proxy.url


def test_a_store_that_is_emptied_under_way_loses_nothing_but_time(server: RedisProcess) -> None:
    """Between any two questions."""
    first, second = Replica(server.url), Replica(server.url)
    with first.client, second.client, Redis(port=server.port) as direct:
        for edge in range(FEW):
            assert first.ask(edge) == (float(edge), MISS)
            direct.flushall()
            assert second.ask(edge) == (float(edge), MISS)
    assert first.counter.calls == second.counter.calls == FEW


def test_a_late_reply_is_never_taken_for_anothers(server: RedisProcess, proxy: ToxicProxy) -> None:
    """Calls are given up one after the other while their replies are still on the way."""
    writer, reader = Replica(server.url), Replica(proxy.url, TIMEOUT_S)
    with writer.client, reader.client:
        for edge in range(100, 100 + FEW):
            writer.ask(edge)
            proxy.toxin = Toxin(latency_s=1.5 * TIMEOUT_S) if edge % 3 == 0 else HARMLESS
            assert reader.ask(edge)[0] == float(edge)
        proxy.toxin = HARMLESS
        eventually(lambda: reader.ask_anew() == MISS)
