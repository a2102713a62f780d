"""When to ask again, and how long to wait before it.

Every question is a pure calculation, so asking again is always safe. What limits
retries is the load that they put on a service in trouble: they back off with full
jitter, they obey Retry-After, and a budget lets a client in a storm repeat only a tenth
of its questions.
"""

import threading
from email.utils import parsedate_to_datetime

# A 500 is a fault that the same question would meet again.
RETRIED_STATUSES = frozenset({408, 429, 502, 503, 504})
FIRST_BACKOFF_S = 0.5
LONGEST_BACKOFF_S = 8.0
LONGEST_RETRY_AFTER_S = 60.0
# What an absurd Retry-After is cut down to, so that errors carry a finite number.
MOST_SECONDS = 1e9

EARNED_PER_QUESTION = 0.1
EARNED_PER_S = 0.1
MOST_TOKENS = 10.0


def backoff_ceiling_s(attempt: int) -> float:
    """Longest wait after the given attempt; the wait is drawn between zero and this."""
    doublings = min(attempt - 1, 10)
    return float(min(LONGEST_BACKOFF_S, FIRST_BACKOFF_S * 2**doublings))


def retry_after_s(value: str, now: float) -> float | None:
    """Seconds that a Retry-After asks for; None when empty or nonsense, never negative."""
    text = value.strip()
    if text.isascii() and text.isdigit():
        return min(float(text), MOST_SECONDS)
    instant = http_date(text)
    return None if instant is None else min(max(instant - now, 0.0), MOST_SECONDS)


def http_date(text: str) -> float | None:
    """Seconds since 1970 of an HTTP date, None when it is none."""
    try:
        return parsedate_to_datetime(text).timestamp()
    except (ValueError, TypeError, OverflowError, IndexError):
        return None


class RetryBudget:
    """Tokens for retries, shared by all copies of a client and safe between threads.

    A retry costs one token. Each question earns a tenth, each second another tenth, and
    at most ten are kept: against a service that refuses everything, n questions in t
    seconds are sent at most 1.1 n + 0.1 t + 10 times, whatever `max_retries` says.
    """

    def __init__(self) -> None:
        self._tokens = MOST_TOKENS
        self._seen_at: float | None = None
        self._lock = threading.Lock()

    def earn(self, now: float) -> None:
        """Count one question asked at a monotonic instant."""
        with self._lock:
            since = 0.0 if self._seen_at is None else max(now - self._seen_at, 0.0)
            earned = EARNED_PER_QUESTION + EARNED_PER_S * since
            self._tokens = min(MOST_TOKENS, self._tokens + earned)
            self._seen_at = now

    def spend(self) -> bool:
        """Take one token for a retry; false when there is none."""
        with self._lock:
            if self._tokens < 1.0:
                return False
            self._tokens -= 1.0
            return True
