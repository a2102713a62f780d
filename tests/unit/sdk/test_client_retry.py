"""When a client asks again, how long it waits, and when it gives up."""

from email.utils import formatdate

import httpx
import pytest

import loopmargin
from tests.unit.sdk.standin import Ask, Service, Time, answered, refused

BROKEN = [
    httpx.ConnectError("refused"),
    httpx.ConnectTimeout("slow"),
    httpx.ReadError("reset"),
    httpx.ReadTimeout("silent"),
    httpx.WriteError("reset"),
    httpx.RemoteProtocolError("closed"),
]


@pytest.mark.parametrize("status", [408, 429, 502, 503, 504])
def test_passing_trouble_is_asked_again(ask: Ask, status: int) -> None:
    """A status that may pass is retried, and the answer counts its attempts."""
    service = Service(refused(status), answered())

    reply = ask(service)

    assert reply.attempts == 2
    assert len(service.requests) == 2


@pytest.mark.parametrize("error", BROKEN, ids=lambda error: type(error).__name__)
def test_broken_connections_are_tried_again(ask: Ask, error: Exception) -> None:
    """A connection that fails before or within the response is retried."""
    service = Service(error, answered())

    assert ask(service).attempts == 2


@pytest.mark.parametrize("status", [400, 401, 403, 404, 405, 406, 409, 413, 415, 422, 500, 501])
def test_lasting_refusals_are_not_asked_again(ask: Ask, status: int) -> None:
    """What the same question would meet again is raised at once."""
    service = Service(refused(status), answered())

    with pytest.raises(loopmargin.Refused) as caught:
        ask(service)

    assert (status, 1) == (caught.value.status, len(service.requests))


def test_what_takes_too_long_is_not_asked_again(ask: Ask) -> None:
    """The service has stopped this very calculation; a proxy's 504 would say nothing of it."""
    service = Service(refused(504, "/problems/deadline"), answered())

    with pytest.raises(loopmargin.Unavailable) as caught:
        ask(service)

    assert (caught.value.problem.type, len(service.requests)) == ("/problems/deadline", 1)


def test_full_pool_is_not_waited_for_again(ask: Ask) -> None:
    """A pool without a free connection is our own doing and not retried."""
    service = Service(httpx.PoolTimeout("full"), answered())

    with pytest.raises(loopmargin.TimedOut):
        ask(service)

    assert len(service.requests) == 1


@pytest.mark.parametrize(("retries", "requests"), [(0, 1), (1, 2), (2, 3), (5, 6)])
def test_max_retries_bounds_the_requests(ask: Ask, retries: int, requests: int) -> None:
    """max_retries counts the requests after the first."""
    service = Service(refused(503))

    with pytest.raises(loopmargin.Unavailable) as caught:
        ask(service, max_retries=retries, deadline=3600.0)

    assert (requests, requests) == (len(service.requests), caught.value.attempts)


def test_ceiling_of_the_wait_doubles_up_to_eight_seconds(ask: Ask) -> None:
    """The longest possible waits are 0.5 s, doubled each time, at most 8 s."""
    time = Time(share=1.0)

    with pytest.raises(loopmargin.Unavailable):
        ask(Service(refused(503)), time, max_retries=7, deadline=3600.0)

    assert time.slept == [0.5, 1.0, 2.0, 4.0, 8.0, 8.0, 8.0]


def test_jitter_is_full(ask: Ask) -> None:
    """The shortest possible wait is none at all."""
    time = Time(share=0.0)

    with pytest.raises(loopmargin.Unavailable):
        ask(Service(refused(503)), time)

    assert time.slept == [0.0, 0.0]


@pytest.mark.parametrize(
    ("value", "slept"),
    [
        ("3", 3.0),
        (" 3 ", 3.0),
        ("60", 60.0),
        ("0", 0.0),
        ("-5", 0.0),
        ("1.5", 0.0),
        ("soon", 0.0),
        ("", 0.0),
        ("٣", 0.0),
        ("Wed, 99 Foo 2026 00:00:00 GMT", 0.0),
        ("Mon, 01 Jan 1990 00:00:00 GMT", 0.0),
        (formatdate(1.7e9 + 100.0 + 42.0, usegmt=True), 42.0),
        ("in the year 10000000000000", 0.0),
    ],
)
def test_retry_after_is_honoured_when_it_makes_sense(ask: Ask, value: str, slept: float) -> None:
    """Seconds and dates are obeyed; the past, the negative and nonsense count as absent."""
    time = Time(share=0.0)
    busy = refused(503)
    busy.headers = httpx.Headers([*busy.headers.raw, (b"retry-after", value.encode())])

    ask(Service(busy, answered()), time, deadline=100.0)

    assert [slept] == time.slept


def test_retry_after_is_a_lower_bound_with_jitter_on_top(ask: Ask) -> None:
    """Nobody comes back early, and not all at once."""
    time = Time(share=1.0)

    ask(Service(refused(429, retry_after="3"), answered()), time)

    assert time.slept == [3.5]


@pytest.mark.parametrize(
    ("value", "seconds"),
    [
        ("61", 61.0),
        ("1000000000", 1e9),
        ("9" * 400, 1e9),
        (formatdate(1.7e9 + 100.0 + 7200.0, usegmt=True), 7200.0),
    ],
)
def test_long_retry_after_is_left_to_the_caller(ask: Ask, value: str, seconds: float) -> None:
    """Beyond a minute the client does not sleep but says when to come back."""
    time = Time()

    with pytest.raises(loopmargin.OverQuota) as caught:
        ask(Service(refused(429, retry_after=value)), time, deadline=3600.0)

    assert (seconds, []) == (caught.value.retry_after_s, time.slept)


def test_retry_after_of_a_proxy_is_honoured_too(ask: Ask) -> None:
    """A 503 that is no problem document still says when to come back."""
    time = Time(share=0.0)
    plain = httpx.Response(503, text="busy", headers={"retry-after": "2"})

    ask(Service(plain, answered()), time)

    assert time.slept == [2.0]


def test_last_failure_is_the_one_that_is_raised(ask: Ask) -> None:
    """After different troubles the error tells of the last."""
    service = Service(httpx.ConnectError("refused"), refused(429), refused(503))

    with pytest.raises(loopmargin.Unavailable):
        ask(service)
