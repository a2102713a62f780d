"""Whatever came back that is no answer, turned into an error of the tree."""

from contextlib import suppress
from typing import Any

import httpx
import msgspec

from loopmargin.body import PROBLEM_TYPE
from loopmargin.errors import (
    LoopmarginError,
    NoAnswer,
    NotUnderstood,
    Refused,
    TimedOut,
    refusal_class,
)
from loopmargin.message import Arrival, Outcome
from loopmargin.options import Options
from loopmargin.retry import retry_after_s
from loopmargin_wire.problem import Problem

SHOWN_BODY_BYTES = 200


def failure_of(outcome: Outcome, attempts: int, options: Options, now: float) -> LoopmarginError:
    """Turn whatever is no success into an error of ours, its origin as the cause."""
    if isinstance(outcome, Arrival):
        return refusal(outcome, attempts, now) or not_understood(outcome, attempts)
    said = f"{type(outcome).__name__}: {outcome}".rstrip(": ")
    failure: NoAnswer
    if isinstance(outcome, httpx.TimeoutException | TimeoutError):
        failure = TimedOut(
            f"No answer from {options.base_url} within {options.timeout:g} s for an attempt and"
            f" {options.deadline:g} s in all ({said}); attempt {attempts} was the last.",
            attempts=attempts,
        )
    elif isinstance(outcome, httpx.DecodingError):
        failure = NotUnderstood(f"The body cannot be read ({said}).", attempts=attempts)
    else:
        failure = NoAnswer(
            f"No answer from {options.base_url} ({said}); attempt {attempts} was the last. Is"
            " the service running there? Give base_url or set LOOPMARGIN_BASE_URL.",
            attempts=attempts,
        )
    failure.__cause__ = without_headers(outcome)
    return failure


def without_headers(outcome: Outcome) -> BaseException | None:
    """Take our headers, a key among them, out of an error before anybody reports or pickles it."""
    if isinstance(outcome, httpx.RequestError):
        # One that was raised outside of a request has none, and says so by this error.
        with suppress(RuntimeError):
            outcome.request = httpx.Request(outcome.request.method, outcome.request.url)
    return outcome if isinstance(outcome, BaseException) else None


def refusal(arrival: Arrival, attempts: int, now: float) -> Refused | None:
    """Read a problem document; None when the body is none."""
    problem = problem_in(arrival)
    if problem is None:
        return None
    return refusal_class(arrival.status)(
        problem,
        status=arrival.status,
        retry_after_s=retry_after_s(arrival.header("retry-after"), now),
        request_id=arrival.request_id or problem.instance,
        attempts=attempts,
    )


def problem_in(arrival: Arrival) -> Problem | None:
    """Decode a problem document, whose members may each be absent (RFC 9457, section 3.1)."""
    if arrival.media_type != PROBLEM_TYPE:
        return None
    absent = {"type": "about:blank", "title": "", "detail": "", "status": arrival.status}
    try:
        given = msgspec.json.decode(arrival.body, type=dict[str, Any])
        return msgspec.convert({**absent, **given}, Problem)
    except (msgspec.DecodeError, UnicodeDecodeError, RecursionError):
        return None


def not_understood(arrival: Arrival, attempts: int) -> NotUnderstood:
    """Describe a response that is neither an answer nor a problem."""
    shown = arrival.body[:SHOWN_BODY_BYTES].decode("utf-8", "replace")
    where = arrival.header("location")
    hint = f" It redirects to {where}; give that as base_url." if where else ""
    return NotUnderstood(
        f"Status {arrival.status} with {arrival.media_type or 'an untyped body'} is no answer of"
        f" loopmargin.{hint} The body begins {shown!r}.",
        status=arrival.status,
        request_id=arrival.request_id,
        attempts=attempts,
    )
