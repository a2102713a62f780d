"""The factor between estimated and real seconds: learned, bounded, forgotten."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from loopmargin_service.http.pace import HALF_LIFE_S, LEAST, MOST, Pace


class Clock:
    """A clock that stands until it is moved."""

    def __init__(self) -> None:
        self.now_s = 100.0

    def __call__(self) -> float:
        """Tell the time."""
        return self.now_s


@pytest.mark.parametrize("real", [0.5, 1.0, 3.0])
def test_it_comes_to_what_calculations_take(real: float) -> None:
    """After many of them; the way there does not matter."""
    pace = Pace(Clock())
    for _ in range(100):
        pace.learn(0.01, 0.01 * real)

    assert pace.factor == pytest.approx(real, rel=0.01)


@given(st.lists(st.tuples(st.floats(1e-9, 1e3), st.floats(0.0, 1e6)), max_size=30))
def test_it_stays_within_its_bounds(seen: list[tuple[float, float]]) -> None:
    """Whatever the calculations took."""
    pace = Pace(Clock())
    for estimated_s, took_s in seen:
        pace.learn(estimated_s, took_s)

        assert LEAST * 0.999 <= pace.factor <= MOST * 1.001


def test_a_bad_moment_is_forgotten() -> None:
    """Also when nothing is computed meanwhile, because everything is refused."""
    clock = Clock()
    pace = Pace(clock)
    for _ in range(100):
        pace.learn(1.0, 1000.0)
    before = pace.factor
    clock.now_s += HALF_LIFE_S
    halfway = pace.factor
    clock.now_s += 20 * HALF_LIFE_S

    assert before == pytest.approx(MOST, rel=0.01)
    assert halfway == pytest.approx(MOST**0.5, rel=0.01)
    assert pace.factor == pytest.approx(1.0, rel=0.01)


def test_one_calculation_says_little() -> None:
    """A single stray one moves it by a quarter at most."""
    pace = Pace(Clock())
    pace.learn(0.01, 100.0)

    assert 1.0 < pace.factor < 1.3


def test_what_is_too_short_to_time_teaches_nothing() -> None:
    """Its time says more about the clock."""
    pace = Pace(Clock())
    pace.learn(1e-6, 1.0)

    assert pace.factor == 1.0
