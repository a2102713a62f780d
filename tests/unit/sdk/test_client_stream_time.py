"""How long a stream may take, and whose time it is."""

from typing import Any

import httpx
import pytest

import loopmargin
from tests.unit.sdk.standin import Service, Time, refused
from tests.unit.sdk.stream_standin import (
    QUESTION,
    RESET,
    WHOLE,
    Take,
    block,
    end,
    head,
    plain,
    rest,
    streamed,
)


def test_deadline_is_for_the_time_without_a_record(take: Take) -> None:
    """A stream may last longer than that; silence may not."""
    time = Time()

    def slow(at: int, *after: Any) -> Any:  # noqa: ANN401
        def step(request: httpx.Request) -> httpx.Response:
            time.now += 4.0
            return streamed(head(at), block(at), *after)(request)

        return step

    lasting = Service(slow(0, RESET), slow(2, RESET), slow(4, end(2)))
    assert plain(take(lasting, time, deadline=6.0)) == WHOLE

    began = time.now
    silent = Service(slow(0, RESET), refused(503, retry_after="4"))
    with pytest.raises(loopmargin.Unavailable):
        take(silent, time, deadline=6.0, max_retries=9)
    assert time.now - began < 4.0 + 6.0


def test_time_of_the_caller_counts_for_nothing() -> None:
    """Who works an hour on a block finds the stream where it was."""
    time = Time()
    http = httpx.Client(transport=httpx.MockTransport(Service(streamed(*rest()))))
    client = loopmargin.Client("http://stand.in", http_client=http, clock=time.clock)

    for _ in client.sweep_stream(QUESTION, timeout=1.0, deadline=1.0):
        time.now += 3600.0


def test_a_record_that_trickles_in_is_late() -> None:
    """A byte now and then is no record."""
    time = Time()

    class Trickle(httpx.SyncByteStream):
        def __iter__(self) -> Any:  # noqa: ANN401
            while True:
                time.now += 1.0
                yield b"{"

    http = httpx.Client(
        transport=httpx.MockTransport(
            lambda _: httpx.Response(
                200, headers={"content-type": "application/x-ndjson"}, stream=Trickle()
            )
        )
    )
    client = loopmargin.Client("http://stand.in", http_client=http, clock=time.clock)

    with pytest.raises(loopmargin.TimedOut):
        list(client.sweep_stream(QUESTION, timeout=5.0, max_retries=0))
