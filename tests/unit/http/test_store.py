"""The answer store: bounded in bytes and time, and content to be alone."""

import asyncio
from collections.abc import Coroutine
from typing import Any

import pytest

from loopmargin_service.http.reply import Reply
from loopmargin_service.http.store import (
    ENTRY_BYTES,
    AnswerStore,
    Found,
    RequestKey,
)
from tests.unit.http.shelf import Shelf

KEY = RequestKey("/v1/parcel", b"application/json", b"*/*", b"{}")
REPLY = Reply(200, ((b"a", b"b"),), b"answer")


class Clock:
    """A clock that is moved by hand."""

    def __init__(self) -> None:
        self.now_s = 0.0

    def __call__(self) -> float:
        """Tell the time."""
        return self.now_s


def run(work: Coroutine[Any, Any, Any]) -> Any:  # noqa: ANN401 - whatever the work gives
    """Run one piece of asynchronous work."""
    return asyncio.run(work)


def test_what_is_kept_is_found() -> None:
    """An answer comes back as it was stored."""
    store = AnswerStore(10_000, 60)

    run(store.keep("d", b"answer"))

    assert Found(b"answer") == run(store.find("d"))
    assert Found(None) == run(store.find("e"))


def test_a_ready_reply_comes_back_for_an_equal_request_only() -> None:
    """Every part of the key counts."""
    store = AnswerStore(10_000, 60)
    store.make_ready(KEY, REPLY)

    others = [
        KEY._replace(path="/v1/other"),
        KEY._replace(content_type=b"application/vnd.msgpack"),
        KEY._replace(accept=b"application/vnd.msgpack"),
        KEY._replace(body=b"{} "),
    ]

    assert store.ready(KEY) == REPLY
    assert [store.ready(other) for other in others] == [None] * 4


def test_the_least_recently_used_goes_first() -> None:
    """Looking an answer up keeps it."""
    store = AnswerStore(2 * (ENTRY_BYTES + 1), 60)
    store.hold("a", b"1")
    store.hold("b", b"2")
    assert store.held("a") == b"1"

    store.hold("c", b"3")

    assert [store.held(name) for name in "abc"] == [b"1", None, b"3"]


def test_bytes_held_never_pass_the_limit() -> None:
    """Replacing, dropping and expiring all give their bytes back."""
    clock = Clock()
    store = AnswerStore(5_000, 10, clock=clock)

    for number in range(200):
        store.hold(str(number % 7), bytes(number * 13 % 997))
        store.make_ready(KEY._replace(body=bytes(number % 5)), REPLY)
        assert store.held_bytes <= 5_000
    clock.now_s = 11.0
    for name in range(7):
        store.held(str(name))
    for size in range(5):
        store.ready(KEY._replace(body=bytes(size)))

    assert (len(store), store.held_bytes) == (0, 0)


@pytest.mark.parametrize("limit", [0, 100])
def test_an_answer_larger_than_the_store_is_not_kept(limit: int) -> None:
    """A limit of zero switches the store off; nothing else is pushed out."""
    store = AnswerStore(limit, 60)

    store.hold("d", b"answer")

    assert store.held("d") is None
    assert store.held_bytes == 0


def test_an_answer_expires() -> None:
    """It is there until its time to live has passed, and not after."""
    clock = Clock()
    store = AnswerStore(10_000, 60, clock=clock)
    store.hold("d", b"answer")

    clock.now_s = 59.9
    assert store.held("d") == b"answer"
    clock.now_s = 60.0
    assert store.held("d") is None


def test_what_another_replica_stored_is_found_and_then_held() -> None:
    """The shared store is asked once."""
    shelf = Shelf()
    shelf.answers["d"] = b"answer"
    store = AnswerStore(10_000, 60, shelf)

    assert Found(b"answer") == run(store.find("d"))
    shelf.away = True
    assert Found(b"answer") == run(store.find("d"))


def test_what_is_kept_here_is_kept_there() -> None:
    """Other replicas find it."""
    shelf = Shelf()

    assert run(AnswerStore(10_000, 60, shelf).keep("d", b"answer"))
    assert shelf.answers == {"d": b"answer"}


def test_without_the_shared_store_the_own_one_goes_on() -> None:
    """Away is told, and nothing else changes."""
    shelf = Shelf()
    shelf.away = True
    store = AnswerStore(10_000, 60, shelf)

    assert Found(None, available=False) == run(store.find("d"))
    assert run(store.keep("d", b"answer")) is False
    assert Found(b"answer") == run(store.find("d"))
    assert run(store.shared_usable()) is False


def test_an_answer_computed_while_waiting_is_used() -> None:
    """Equal requests that wait for the shared store lead to one calculation."""
    shelf = Shelf()
    store = AnswerStore(10_000, 60, shelf)

    async def slow(_digest: str) -> None:
        store.hold("d", b"computed meanwhile")

    shelf.fetch = slow  # type: ignore[method-assign,assignment]

    assert Found(b"computed meanwhile") == run(store.find("d"))


def test_closing_closes_the_shared_store() -> None:
    """Connections are given back; alone there is nothing to close."""
    shelf = Shelf()
    shelf.answers["d"] = b"answer"

    run(AnswerStore(10_000, 60, shelf).close())
    run(AnswerStore(10_000, 60).close())

    assert shelf.answers == {}
