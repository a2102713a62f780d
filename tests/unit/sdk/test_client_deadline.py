"""The deadline: over attempts, waits, retries and a body that trickles in."""

from collections.abc import Iterator

import httpx
import pytest
from hypothesis import given
from hypothesis import strategies as st

import loopmargin
from loopmargin.exchange import Exchange, exchange
from loopmargin.message import Arrival, Call, Outcome, Pause, Send
from loopmargin.options import Options
from loopmargin_wire.radiator_area import RadiatorAreaAnswer
from tests.unit.sdk.standin import Ask, Service, Time, answered, refused, sample_answer

TROUBLE = st.sampled_from(
    [
        Arrival(503, httpx.Headers(), b""),
        Arrival(503, httpx.Headers({"retry-after": "7"}), b""),
        Arrival(429, httpx.Headers({"retry-after": "59"}), b""),
        Arrival(502, httpx.Headers({"retry-after": "4000"}), b""),
        httpx.ConnectError("refused"),
        httpx.ReadTimeout("silent"),
    ]
)
SECONDS = st.floats(0.001, 300.0)


@given(st.lists(st.tuples(TROUBLE, st.floats(0.0, 1.0)), min_size=11), SECONDS, SECONDS)
def test_no_wait_and_no_attempt_outlasts_the_deadline(
    troubles: list[tuple[Outcome, float]], deadline: float, timeout: float
) -> None:
    """Whatever comes back, attempts and waits together stay within the deadline."""
    time = Time()
    ends = time.now + deadline
    options = Options("http://x", deadline=deadline, timeout=timeout, max_retries=10)
    call = Call("POST", "/v1/x", b"", type(sample_answer()))
    steps = exchange(call, options, loopmargin.RetryBudget(), time.clock)

    with pytest.raises(loopmargin.LoopmarginError):
        suffer(steps, troubles, time)

    assert time.now <= ends + 1e-9


def suffer(
    steps: Exchange[RadiatorAreaAnswer], troubles: list[tuple[Outcome, float]], time: Time
) -> None:
    """Drive an exchange through troubles, each after a share of the attempt's time."""
    for trouble, share in troubles:
        attempt = next(steps)
        assert isinstance(attempt, Send)
        assert 0.0 < attempt.connect_s <= attempt.limit_s
        time.now += share * attempt.limit_s
        pause = steps.send(trouble)
        assert isinstance(pause, Pause)
        time.now += pause.seconds


def test_time_spent_in_attempts_counts(ask: Ask) -> None:
    """Attempts that take their time leave none for a retry."""
    time = Time()

    def slow(_request: httpx.Request) -> httpx.Response:
        time.now += 4.0
        return refused(503)

    service = Service(slow)
    with pytest.raises(loopmargin.Unavailable):
        ask(service, time, deadline=9.0, max_retries=10)

    # 4 s, 0.5 s wait, 4 s; the next wait would end at 9.5 s.
    assert (len(service.requests), time.slept) == (2, [0.5])


def test_retry_after_beyond_the_deadline_is_left_to_the_caller(ask: Ask) -> None:
    """A wait that cannot end in time is not begun."""
    time = Time()

    with pytest.raises(loopmargin.Unavailable) as caught:
        ask(Service(refused(503, retry_after="30")), time, deadline=20.0)

    assert (caught.value.retry_after_s, time.slept) == (30.0, [])


def test_body_that_trickles_is_cut_off(ask: Ask) -> None:
    """A body that keeps coming in pieces does not outlast the time for an attempt."""
    time = Time()

    def trickle(_request: httpx.Request) -> httpx.Response:
        return httpx.Response(200, stream=Trickle(time))

    with pytest.raises(loopmargin.TimedOut) as caught:
        ask(Service(trickle), time, deadline=5.0)

    assert isinstance(caught.value.cause, httpx.ReadTimeout)
    assert time.now <= 106.0


def test_oversleeping_ends_the_call(ask: Ask) -> None:
    """When a sleep took longer than asked and the deadline is over, nothing more is sent."""
    time = Time()
    time.clock = loopmargin.Clock(
        monotonic=lambda: time.now,
        uniform=time.clock.uniform,
        sleep=lambda seconds: time.sleep(seconds + 100.0),
        sleep_async=lambda seconds: time.sleep_async(seconds + 100.0),
    )
    service = Service(refused(503), answered())

    with pytest.raises(loopmargin.Unavailable):
        ask(service, time)

    assert len(service.requests) == 1


@pytest.mark.parametrize(
    ("options", "limits"),
    [
        ({}, (30.0, 2.0)),
        ({"timeout": 1.0}, (1.0, 1.0)),
        ({"deadline": 0.5}, (0.5, 0.5)),
        ({"connect_timeout": 5.0}, (30.0, 5.0)),
    ],
)
def test_each_step_on_the_socket_is_limited(
    ask: Ask, options: dict[str, float], limits: tuple[float, float]
) -> None:
    """Reading, writing and connecting never get more than what an attempt has left."""
    service = Service()

    ask(service, **options)

    given_limits = service.requests[0].extensions["timeout"]
    assert limits == (given_limits["read"], given_limits["connect"])
    assert limits[0] == given_limits["write"] == given_limits["pool"]


class Trickle(httpx.SyncByteStream, httpx.AsyncByteStream):
    """One byte a second, far longer than any deadline."""

    def __init__(self, time: Time) -> None:
        self.time = time

    def __iter__(self) -> Iterator[bytes]:
        """Send a byte for each second."""
        for _ in range(1000):
            self.time.now += 1.0
            yield b"x"

    async def __aiter__(self):  # type: ignore[no-untyped-def]  # noqa: ANN204 - follows __iter__
        """Send a byte for each second."""
        for byte in self:
            yield byte
