"""Closing in on a crossing: against scipy, and slower than halving by a step at most."""

import math
from collections.abc import Callable

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import optimize

from loopmargin_service.physics import bracket
from loopmargin_service.physics.bracket import Bracket, between

Function = Callable[[float], float]

# What each kind of interpolation finds hard: a corner, a flat foot, a wall, a jump, a high power.
FUNCTIONS: dict[str, Function] = {
    "straight": lambda x: 3.0 * x - 1.0,
    "corner": lambda x: x - 0.3 if x < 0.3 else 50.0 * (x - 0.3),
    "flat foot": lambda x: (x - 0.7) ** 9,
    "wall": lambda x: math.expm1(40.0 * (x - 0.95)),
    "high power": lambda x: x**30 - 1e-6,
    "jump": lambda x: -1e-9 if x < math.pi / 5.0 else 1.0,
    "jump the other way": lambda x: -1.0 if x < math.pi / 5.0 else 1e-9,
}


def begun(function: Function, low: float = 0.0, high: float = 1.0) -> Bracket:
    """Begin with both ends."""
    return between(low, function(low), high, function(high))


def after(now: Bracket, function: Function, steps: int) -> Bracket:
    """Take some steps."""
    for _ in range(steps):
        place = now.trial()
        assert now.low <= place <= now.high
        now = now.narrowed(place, function(place))
    return now


@pytest.mark.parametrize("name", FUNCTIONS)
def test_same_crossing_as_a_library(name: str) -> None:
    """Both ends close in on what `scipy.optimize` (1.17.1) finds by two other methods."""
    function = FUNCTIONS[name]
    found = after(begun(function), function, 45)

    for method in (optimize.brentq, optimize.toms748):
        expected = float(method(function, 0.0, 1.0, xtol=1e-14, rtol=1e-14, maxiter=9999))
        # A ninth power is zero in floating point long before its argument is.
        tolerance = 1e-12 if name != "flat foot" else 1e-3
        assert expected == pytest.approx(found.high, abs=tolerance)
    assert found.width < 1e-13


@pytest.mark.parametrize("name", FUNCTIONS)
def test_never_slower_than_halving_but_for_one_step(name: str) -> None:
    """After each step the ends stand no wider apart than halving left them a step before."""
    function = FUNCTIONS[name]
    now = begun(function)
    for step in range(40):
        assert now.steps == step
        assert now.width <= min(1.0, 0.5 ** (step - 1)) * (1.0 + 1e-12)
        assert function(now.low) < 0.0 <= function(now.high)
        now = after(now, function, 1)


def test_fewer_steps_than_halving_on_a_smooth_function() -> None:
    """On a cosine two dozen halvings become at most eight steps."""

    def function(x: float) -> float:
        return x - math.cos(x)

    found = after(begun(function), function, 8)
    assert abs(function(found.trial())) < 1e-7


@given(
    root=st.floats(-5.0, 5.0),
    power=st.sampled_from([1, 3, 5, 11]),
    skew=st.floats(1e-6, 1e6),
    scale=st.floats(1e-8, 1e8),
)
def test_crossing_of_bent_powers(root: float, power: int, skew: float, scale: float) -> None:
    """Odd powers of any steepness on either side, in places and values of any unit."""

    def function(x: float) -> float:
        away = x / scale - root
        return (skew if away > 0.0 else 1.0) * away**power

    now = begun(function, -6.0 * scale, 7.0 * scale)
    for step in range(30):
        assert now.width <= 13.0 * scale * (0.5 ** (step - 1) + 1e-14)
        now = after(now, function, 1)
    assert now.low / scale - 1e-6 <= root <= now.high / scale + 1e-6


def test_first_step_by_hand() -> None:
    """The secant is moved towards the middle by 0.2, and no further than the middle."""
    near = between(0.0, -1.0, 1.0, 9.0)
    assert near.trial() == pytest.approx(0.1 + bracket.NUDGE)
    # Four units wide, all of it is four times as much.
    assert between(2.0, -1.0, 6.0, 9.0).trial() == pytest.approx(2.4 + 4.0 * bracket.NUDGE)
    # Half as wide as at first, a quarter of the first nudge.
    halved = between(2.0, -1.0, 6.0, 9.0)._replace(low=4.0)
    assert halved.trial() == pytest.approx(4.2 + bracket.NUDGE)
    assert between(0.0, -4.0, 1.0, 6.0).trial() == pytest.approx(0.5)
    assert between(0.0, -9.0, 1.0, 1.0).trial() == pytest.approx(0.9 - bracket.NUDGE)


def test_second_step_by_hand() -> None:
    """Once a step was wasted, the next is so near the middle that halving is caught up with."""
    wasted = between(0.0, -1.0, 1.0, 9.0).narrowed(0.3, -1e-9)
    # 0.7 wide, and at most 0.5 after this step: within 0.15 of the middle 0.65.
    assert wasted.trial() == pytest.approx(0.5)


def test_zero_is_an_upper_end() -> None:
    """A place at which the function is zero ends up as the higher end."""
    now = between(0.0, -1.0, 1.0, 1.0).narrowed(0.25, 0.0)
    assert (now.low, now.high, now.above) == (0.0, 0.25, 0.0)
    assert now.trial() <= 0.25
