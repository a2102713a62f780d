"""One question from its first attempt to its answer, without any input or output.

`exchange` is a generator. It yields what to send and how long to wait, is sent what came
back, and returns the reply or raises. A driver of a few lines carries it over a blocking
or an asynchronous connection, so both clients behave alike by construction, and a test
needs neither a network nor a clock.

    exchange                driver
    yield Send(...)    ->   sends, reads the whole body
                       <-   Arrival, or the exception that stopped it
    yield Pause(2.1)   ->   sleeps
                       <-   None
    return Reply(...)
"""

from collections.abc import Generator
from http import HTTPStatus
from typing import TypeVar

import httpx
import msgspec

from loopmargin.body import MEDIA_TYPES, PROBLEM_TYPE, decoded
from loopmargin.clock import Clock
from loopmargin.errors import LoopmarginError, NotUnderstood, Refused
from loopmargin.failure import failure_of
from loopmargin.message import Arrival, Call, Outcome, Pause, Reply, Send
from loopmargin.options import Headers, Options
from loopmargin.release import USER_AGENT
from loopmargin.retry import (
    LONGEST_RETRY_AFTER_S,
    RETRIED_STATUSES,
    RetryBudget,
    backoff_ceiling_s,
    retry_after_s,
)
from loopmargin_wire.answer import Answer

A = TypeVar("A", bound=Answer)
Exchange = Generator[Send | Pause, Outcome, Reply[A]]

# The type of a problem that the same question would meet again.
OUT_OF_TIME = "/problems/deadline"
# A full pool is our own doing; asking again would only wait for it again.
RETRIED_ERRORS = (
    TimeoutError,
    httpx.ConnectTimeout,
    httpx.ReadTimeout,
    httpx.WriteTimeout,
    httpx.NetworkError,
    httpx.RemoteProtocolError,
    httpx.ProxyError,
)


def exchange(call: Call[A], options: Options, budget: RetryBudget, clock: Clock) -> Exchange[A]:
    """Yield requests to send and seconds to wait; return the answer."""
    patience = Patience(options, budget, clock)
    patience.begin()
    while True:
        outcome = yield attempt_at(call, options, patience.next_attempt())
        if isinstance(outcome, Arrival) and outcome.status == HTTPStatus.OK:
            return reply(outcome, call.answer, patience.attempt)
        failure = failure_of(outcome, patience.attempt, options, clock.wall())
        yield from patience.again(outcome, failure, hopeless=out_of_time(failure))


class Patience:
    """Attempts and time of one question: how many there were, and what is left of it."""

    def __init__(self, options: Options, budget: RetryBudget, clock: Clock) -> None:
        self.attempt = 0
        self.ends = 0.0
        self._options = options
        self._budget = budget
        self._clock = clock

    def begin(self) -> None:
        """Begin with a question."""
        now = self._clock.monotonic()
        self.ends = now + self._options.deadline
        self._budget.earn(now)

    def next_attempt(self) -> float:
        """Count an attempt; give the seconds left."""
        self.attempt += 1
        return self.ends - self._clock.monotonic()

    def progressed(self) -> None:
        """Count anew, from the attempt that is under way."""
        self.attempt = 1
        self.ends = self._clock.monotonic() + self._options.deadline

    def again(
        self, outcome: Outcome, failure: LoopmarginError, *, hopeless: bool
    ) -> Generator[Pause, object, None]:
        """Yield the seconds before the next attempt; raise the failure when there is none."""
        pause = None if hopeless else pause_s(outcome, self.attempt, self._options, self._clock)
        if pause is None or pause >= self.ends - self._clock.monotonic():
            raise failure
        if not self._budget.spend():
            raise failure
        yield Pause(pause)
        if self._clock.monotonic() >= self.ends:
            raise failure


def attempt_at(call: Call[A], options: Options, left_s: float) -> Send:
    """Write the request of one attempt that starts with some seconds of the deadline left."""
    limit_s = min(options.timeout, left_s)
    own = {"accept": f"{MEDIA_TYPES[options.encoding]}, {PROBLEM_TYPE};q=0.9"}
    if call.content is not None:
        own["content-type"] = MEDIA_TYPES[options.encoding]
    if options.api_key and "authorization" not in options.headers:
        own["authorization"] = f"Bearer {options.api_key}"
    return Send(
        method=call.method,
        url=options.base_url + call.path,
        headers=Headers({"user-agent": USER_AGENT, **options.headers, **own}),
        content=call.content,
        limit_s=limit_s,
        connect_s=min(options.connect_timeout, limit_s),
    )


def pause_s(outcome: Outcome, attempt: int, options: Options, clock: Clock) -> float | None:
    """Seconds to wait before asking again; None when asking again is no use."""
    if attempt > options.max_retries or not worth_retrying(outcome):
        return None
    asked_s = 0.0
    if isinstance(outcome, Arrival):
        asked_s = retry_after_s(outcome.header("retry-after"), clock.wall()) or 0.0
    if asked_s > LONGEST_RETRY_AFTER_S:
        return None
    # Callers that were all told the same second must not all come back in it.
    return asked_s + clock.uniform(0.0, backoff_ceiling_s(attempt))


def out_of_time(failure: Exception) -> bool:
    """Tell whether the service itself stopped a calculation that takes too long, as it would again.

    The same status from a proxy says only that something was slow.
    """
    return isinstance(failure, Refused) and failure.problem.type == OUT_OF_TIME


def worth_retrying(outcome: Outcome) -> bool:
    """Tell whether the same question may fare better in a moment."""
    if isinstance(outcome, Arrival):
        return outcome.status in RETRIED_STATUSES
    return isinstance(outcome, RETRIED_ERRORS)


def reply(arrival: Arrival, answer: type[A], attempts: int) -> Reply[A]:
    """Decode a success."""
    try:
        body = decoded(arrival.body, arrival.media_type, answer)
    except (msgspec.DecodeError, UnicodeDecodeError, RecursionError) as error:
        raise NotUnderstood(
            f"The answer is no {answer.__name__} that this version of loopmargin can read"
            f" ({error}); a newer version may, and base_url may name another service.",
            status=arrival.status,
            request_id=arrival.request_id,
            attempts=attempts,
        ) from error
    return Reply(
        answer=body,
        request_id=arrival.request_id,
        cache_status=arrival.header("cache-status"),
        content_location=arrival.header("content-location"),
        attempts=attempts,
        headers=arrival.headers,
    )
