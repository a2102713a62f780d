"""Parallel contacts: sharing, drop, RMS of a swinging load and rise."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from loopmargin_service.physics.connector import (
    branch_spread_allowed,
    contact_rise,
    duty_allowed,
    parallel_resistance,
    rms_over_mean,
    shares,
)
from loopmargin_service.physics.wire import resistance_per_length

WIRE = float(resistance_per_length(16, 293.15)) * 0.65
RESISTANCES = st.lists(st.floats(1e-4, 100.0), min_size=2, max_size=12)


def kirchhoff(resistance: NDArray[np.float64], current: float) -> tuple[NDArray[np.float64], float]:
    """Solve the same network by its loop and node equations, unknown currents and drop."""
    n = resistance.size
    matrix = np.zeros((n + 1, n + 1))
    matrix[:n, :n] = np.diag(resistance)
    matrix[:n, n] = -1.0
    matrix[n, :n] = 1.0
    solution = np.linalg.solve(matrix, np.append(np.zeros(n), current))
    return solution[:n], float(solution[n])


@pytest.mark.parametrize(
    ("contacts_mohm", "hottest", "drop_mv"),
    [
        ([6.0] * 6, 8.333, 121.36),
        ([6.0] * 5 + [26.0], 9.223, 134.31),
        ([6.0] * 5 + [np.inf], 10.0, 145.63),
        ([6.0] * 4 + [np.inf] * 2, 12.5, 182.04),
        ([20.0] * 5 + [3.0], 16.534, 191.18),
        ([6.0, 7.0, 8.0, 9.0, 10.0, 12.0], 9.733, 141.75),
    ],
)
def test_sharing_of_50_a(contacts_mohm: list[float], hottest: float, drop_mv: float) -> None:
    """Own digits of six wires of gauge 16, 0.65 m, worked out apart from this code."""
    branch = WIRE + 1e-3 * np.array(contacts_mohm)

    assert hottest == pytest.approx(50.0 * float(shares(branch).max()), abs=6e-4)
    assert drop_mv == pytest.approx(50e3 * float(parallel_resistance(branch)), abs=6e-3)


@settings(deadline=None)
@given(resistance=RESISTANCES)
def test_sharing_obeys_kirchhoff(resistance: list[float]) -> None:
    """Shares and drop are those of the full set of loop and node equations."""
    branch = np.array(resistance)
    currents, drop = kirchhoff(branch, 50.0)

    np.testing.assert_allclose(50.0 * shares(branch), currents, rtol=1e-8, atol=1e-9)
    assert 50.0 * float(parallel_resistance(branch)) == pytest.approx(drop, rel=1e-8)


def test_unequal_connectors_share_one_array() -> None:
    """A missing pin is an open branch and changes nothing."""
    padded = np.array([[1.0, 2.0], [1.0, 2.0], [1.0, np.inf]])

    np.testing.assert_allclose(shares(padded), [[1 / 3, 0.5], [1 / 3, 0.5], [1 / 3, 0.0]])
    np.testing.assert_allclose(parallel_resistance(padded), [1 / 3, 1.0])


@pytest.mark.parametrize(
    ("rating", "current", "pins", "expected"),
    [
        (9.2, 50.0, 6, 1.127),
        (9.2, 37.5, 6, 1.625),
        (9.2, 25.0, 6, 2.911),
        (7.0, 12.5, 3, 2.545),
        (8.0, 26.0, 4, 1.333),
        (9.2, 9.2, 6, np.inf),
    ],
)
def test_spread_allowed(rating: float, current: float, pins: int, expected: float) -> None:
    """Own digits of the allowed spread; a pin that could carry all allows any."""
    actual = float(branch_spread_allowed(rating, current, pins))
    assert expected == pytest.approx(actual, abs=6e-4)


@settings(deadline=None)
@given(rating=st.floats(2.0, 20.0), current=st.floats(21.0, 200.0), pins=st.integers(2, 12))
def test_spread_allowed_puts_the_hottest_pin_at_its_rating(
    rating: float, current: float, pins: int
) -> None:
    """One branch of the smallest, all others of the largest resistance: exactly the rating."""
    spread = float(branch_spread_allowed(rating, current, pins))
    branch = np.array([1.0] + [spread] * (pins - 1))
    assert current * float(shares(branch)[0]) == pytest.approx(rating, rel=1e-9)


@settings(deadline=None)
@given(peak=st.floats(1.0, 4.0), duty=st.floats(0.0, 0.25))
def test_rms_is_that_of_the_two_levels(peak: float, duty: float) -> None:
    """The closed form is the root of the mean of the squares of both levels."""
    lower = (1.0 - duty * peak) / (1.0 - duty)
    expected = np.sqrt(duty * peak**2 + (1.0 - duty) * lower**2)
    assert expected == pytest.approx(float(rms_over_mean(peak, duty)), rel=1e-9)


@pytest.mark.parametrize(
    ("peak", "expected"), [(3.0, 0.04988), (2.5, 0.08537), (2.0, 0.17355), (1.5, 0.45652)]
)
def test_duty_allowed_for_600_w(peak: float, expected: float) -> None:
    """Own digits for a mean of 50 A and an RMS limit of 55 A."""
    duty = float(duty_allowed(peak, 50.0, 55.0))

    assert expected == pytest.approx(duty, abs=6e-6)
    assert 50.0 * float(rms_over_mean(peak, duty)) == pytest.approx(55.0, rel=1e-12)


def test_duty_allowed_at_its_ends() -> None:
    """No time at the peak where the mean is too much, all the time where there is no peak."""
    assert float(duty_allowed(2.0, 56.0, 55.0)) == 0.0
    assert float(duty_allowed(1.0, 56.0, 55.0)) == 1.0
    assert float(duty_allowed(1.0, 50.0, 55.0)) == 1.0


@pytest.mark.parametrize(
    ("current", "expected"), [(25 / 3, 24.61), (9.2, 30.00), (10.0, 35.44), (12.5, 55.38)]
)
def test_rise_goes_with_the_square(current: float, expected: float) -> None:
    """Own digits of the rise of a 9.2 A contact."""
    assert expected == pytest.approx(float(contact_rise(current, 9.2)), abs=6e-3)
