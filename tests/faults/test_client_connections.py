"""The client on real sockets: servers that drip, hang up, break off or say nothing."""

import asyncio
import logging
import multiprocessing
import socket
import threading
import time
from collections.abc import Callable
from typing import Unpack

import httpx
import pytest

import loopmargin
from loopmargin.options import CallOptions
from loopmargin_wire.radiator_area import RadiatorAreaAnswer
from tests.faults.loopback import (
    Behaviour,
    broken_off,
    dripping_body,
    dripping_head,
    loopback,
    once,
    silent,
    well,
)
from tests.unit.sdk.standin import example, sample_answer

Ask = Callable[..., list[RadiatorAreaAnswer]]


class Given(CallOptions, total=False):
    """What a test gives a client."""

    clock: loopmargin.Clock


KEY = {"x-key": "key-5c1d"}
# What a busy machine may add; without the deadline these servers would never finish.
HEADROOM_S = 1.0


def blocking(url: str, times: int = 1, **options: Unpack[Given]) -> list[RadiatorAreaAnswer]:
    """Ask through one blocking client."""
    with loopmargin.Client(url, headers=KEY, **options) as client:
        return [client.radiator_area(example()) for _ in range(times)]


def asynchronous(url: str, times: int = 1, **options: Unpack[Given]) -> list[RadiatorAreaAnswer]:
    """Ask through one asynchronous client."""

    async def ask() -> list[RadiatorAreaAnswer]:
        async with loopmargin.AsyncClient(url, headers=KEY, **options) as client:
            return [await client.radiator_area(example()) for _ in range(times)]

    return asyncio.run(ask())


@pytest.fixture(params=[blocking, asynchronous])
def ask(request: pytest.FixtureRequest) -> Ask:
    """Ask through one client, then through the other."""
    chosen: Ask = request.param
    return chosen


@pytest.mark.parametrize("behaviour", [silent, dripping_head, dripping_body])
def test_deadline_holds_against_a_server_that_never_finishes(
    ask: Ask, behaviour: Behaviour
) -> None:
    """Silence, a dripping header and a dripping body all end when the deadline does."""
    with loopback(behaviour) as server:
        started = time.monotonic()
        with pytest.raises(loopmargin.TimedOut):
            ask(server.url, deadline=0.1)
        took_s = time.monotonic() - started

    assert 0.09 <= took_s < 0.1 + HEADROOM_S


@pytest.mark.parametrize("behaviour", [silent, dripping_head])
def test_timeout_ends_one_attempt_and_another_follows(ask: Ask, behaviour: Behaviour) -> None:
    """`timeout` limits an attempt as a whole; the next one starts on a new connection."""
    with loopback(behaviour) as server:
        with pytest.raises(loopmargin.TimedOut) as caught:
            ask(server.url, timeout=0.05, clock=unhurried())
        accepted = server.accepted

    assert (accepted, caught.value.attempts) == (3, 3)


def test_given_http_client_drips_no_longer_than_a_read() -> None:
    """With an HTTP client of the caller's the deadline is looked at between pieces."""
    with loopback(dripping_body) as server, httpx.Client() as http:
        client = loopmargin.Client(server.url, http_client=http)
        started = time.monotonic()
        with pytest.raises(loopmargin.TimedOut):
            client.radiator_area(example(), deadline=0.1)
        took_s = time.monotonic() - started

    assert took_s < 0.1 + HEADROOM_S


def test_body_that_breaks_off_is_asked_for_again(ask: Ask) -> None:
    """Half an answer is none; nothing of it reaches the caller."""
    with loopback(broken_off) as server:
        with pytest.raises(loopmargin.NoAnswer, match="RemoteProtocolError") as caught:
            ask(server.url, clock=unhurried())
        accepted = server.accepted

    assert (accepted, caught.value.attempts) == (3, 3)


def test_server_that_closes_idle_connections_is_no_trouble(ask: Ask) -> None:
    """A connection that was closed meanwhile is replaced."""
    with loopback(once) as server:
        answers = ask(server.url, times=3, clock=unhurried())
        accepted = server.accepted

    assert [sample_answer()] * 3 == answers
    assert accepted >= 3


def test_questions_share_a_connection(ask: Ask) -> None:
    """One client opens one connection for questions one after the other."""
    with loopback(well) as server:
        ask(server.url, times=5)
        accepted = server.accepted

    assert accepted == 1


def test_variants_share_the_connection() -> None:
    """with_options opens no pool of its own."""
    with loopback(well) as server, loopmargin.Client(server.url) as client:
        for timeout in (1.0, 2.0, 3.0):
            client.with_options(timeout=timeout).radiator_area(example())
        accepted = server.accepted

    assert accepted == 1


def test_threads_share_a_client() -> None:
    """Eight threads on one client each get their answers."""
    answers: list[RadiatorAreaAnswer] = []
    with loopback(well) as server, loopmargin.Client(server.url) as client:

        def work() -> None:
            answers.extend(client.radiator_area(example()) for _ in range(5))

        threads = [threading.Thread(target=work) for _ in range(8)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        accepted = server.accepted

    assert [sample_answer()] * 40 == answers
    assert accepted <= 8


def test_no_server_says_where_it_was_looked_for(ask: Ask) -> None:
    """A refused connection names the address and how to change it."""
    with socket.create_server(("127.0.0.1", 0)) as free:
        url = f"http://127.0.0.1:{free.getsockname()[1]}"

    with pytest.raises(loopmargin.NoAnswer, match=f"{url}.*LOOPMARGIN_BASE_URL"):
        ask(url, clock=unhurried())


def test_cancelled_call_gives_its_connection_back() -> None:
    """After a cancelled call the client goes on working."""
    behaviours = iter([silent, well])

    def in_turn(connection: socket.socket) -> None:
        next(behaviours)(connection)

    async def cancel_then_ask(url: str) -> RadiatorAreaAnswer:
        async with loopmargin.AsyncClient(url) as client:
            call = asyncio.create_task(client.radiator_area(example()))
            await asyncio.sleep(0.05)
            call.cancel()
            with pytest.raises(asyncio.CancelledError):
                await call
            return await client.radiator_area(example())

    with loopback(in_turn) as server:
        assert sample_answer() == asyncio.run(cancel_then_ask(server.url))


def test_calls_run_side_by_side() -> None:
    """Ten calls at once take the time of one."""

    def slow(connection: socket.socket) -> None:
        time.sleep(0.1)
        well(connection)

    async def ask_at_once(url: str) -> list[RadiatorAreaAnswer]:
        async with loopmargin.AsyncClient(url) as client:
            return await asyncio.gather(*(client.radiator_area(example()) for _ in range(10)))

    with loopback(slow) as server:
        started = time.monotonic()
        answers = asyncio.run(ask_at_once(server.url))
        took_s = time.monotonic() - started

    assert [sample_answer()] * 10 == answers
    assert took_s < 10 * 0.1


def test_key_reaches_the_service_but_no_log(ask: Ask, caplog: pytest.LogCaptureFixture) -> None:
    """Not even the logs of the HTTP library at its most talkative show header values."""
    seen: list[bytes] = []

    def listening(connection: socket.socket) -> None:
        seen.append(connection.recv(65536, socket.MSG_PEEK))
        once(connection)

    with caplog.at_level(logging.DEBUG), loopback(listening) as server:
        ask(server.url)

    assert b"x-key: key-5c1d" in seen[0]
    assert caplog.text
    assert "key-5c1d" not in caplog.text


def test_client_of_another_process_is_refused() -> None:
    """After a fork the child is told to make its own client, and the parent's goes on."""
    forking = multiprocessing.get_context("fork")
    said = forking.SimpleQueue()
    with loopback(well) as server, loopmargin.Client(server.url) as client:
        client.radiator_area(example())

        def child() -> None:
            for ask_anyhow in (
                lambda: client.radiator_area(example()),
                lambda: client.with_options(timeout=1.0),
            ):
                try:
                    said.put(repr(ask_anyhow()))
                except RuntimeError as error:
                    said.put(str(error))

        process = forking.Process(target=child)
        process.start()
        process.join(timeout=10.0)
        process.kill()
        accepted_by_then = server.accepted
        answer = client.radiator_area(example())
        accepted = server.accepted

    assert (0, sample_answer(), 1, 1) == (process.exitcode, answer, accepted_by_then, accepted)
    assert ["make one in each process" in said.get() for _ in range(2)] == [True, True]


def unhurried() -> loopmargin.Clock:
    """Clock that is right but skips the waits between attempts."""
    return loopmargin.Clock(uniform=lambda low, _high: low)
