"""The breaker in front of the shared store."""

from loopmargin_service.http.redis_store import Breaker
from tests.unit.http.test_store import Clock


def test_a_breaker_is_closed_until_something_fails() -> None:
    """Successes leave it alone."""
    breaker = Breaker(1.0, Clock())
    breaker.note(failed=False)

    assert [breaker.allows() for _ in range(3)] == [True, True, True]


def test_after_a_failure_one_call_a_pause_is_let_through() -> None:
    """Nobody waits for a store that is known to be away."""
    clock = Clock()
    breaker = Breaker(1.0, clock)
    breaker.note(failed=True)

    assert breaker.allows() is False
    clock.now_s = 1.0
    assert [breaker.allows() for _ in range(3)] == [True, False, False]
    clock.now_s = 2.0
    assert [breaker.allows() for _ in range(3)] == [True, False, False]


def test_a_success_closes_it() -> None:
    """The store is used again at once."""
    clock = Clock()
    breaker = Breaker(1.0, clock)
    breaker.note(failed=True)
    clock.now_s = 1.0
    assert breaker.allows()

    breaker.note(failed=False)

    assert [breaker.allows() for _ in range(3)] == [True, True, True]
