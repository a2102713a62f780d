"""Excursion factors and allowances: staircase, logarithmic line, processor peak."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from loopmargin_service.physics.excursion import (
    LOWER_COLUMN,
    UPPER_COLUMN,
    WINDOWS,
    allowance,
    card_factor,
    measured_factor,
    processor_factor,
    recovery_level,
)

WINDOW = st.floats(-7.0, 3.0).map(lambda exponent: 10.0**exponent)


@pytest.mark.parametrize(
    ("window", "expected"),
    [(1e-6, 2.0), (150e-6, 1.8), (1e-3, 1.8), (2e-3, 1.6), (50e-3, 1.2), (101e-3, 1.0)],
)
def test_allowance_takes_the_next_longer_row(window: float, expected: float) -> None:
    """Between two rows the allowance is that of the longer excursion, never more."""
    assert expected == allowance(window, UPPER_COLUMN)


def test_a_window_that_was_computed_keeps_its_row() -> None:
    """A millisecond that came out of arithmetic is still a millisecond."""
    assert np.all(allowance([1e-3 * (1 + 1e-12), 0.1 * 0.01], UPPER_COLUMN) == 1.8)


@settings(deadline=None)
@given(shorter=WINDOW, ratio=st.floats(1.0, 1e4))
def test_longer_windows_are_never_allowed_more(shorter: float, ratio: float) -> None:
    """Allowances and the card's limit never rise with the window."""
    windows = np.array([shorter, shorter * ratio])

    for values in (
        allowance(windows, UPPER_COLUMN),
        allowance(windows, LOWER_COLUMN),
        card_factor(windows),
    ):
        assert values[1] <= values[0]


@pytest.mark.parametrize(
    ("window", "expected"),
    [(200e-6, 2.849485), (1e-3, 2.5), (20e-3, 1.849485), (0.1, 1.5), (0.5, 1.150515)],
)
def test_card_limit_between_its_points(window: float, expected: float) -> None:
    """Own digits of the logarithmic line, worked out apart from this code."""
    assert expected == pytest.approx(float(card_factor(window)), abs=5e-7)


def test_card_limit_is_held_outside() -> None:
    """Below 100 us the limit stays at 3 and beyond a second at 1."""
    np.testing.assert_array_equal(card_factor([1e-9, 1e-4, 1.0, np.inf]), [3.0, 3.0, 1.0, 1.0])


def test_processor_peak_ends_after_ten_milliseconds() -> None:
    """A peak of 10 ms is not carried into the windows of 100 ms and more."""
    expected = [1.5, 1.5, 1.5, 1.0, 1.0, 1.0]
    np.testing.assert_array_equal(processor_factor(WINDOWS, 1.5), expected)


def test_measured_factors_are_raised_to_longer_windows() -> None:
    """A shorter window is at least as high as any longer one."""
    expected = [2.0, 2.0, 2.0, 1.2]
    np.testing.assert_array_equal(measured_factor([1.8, 1.5, 2.0, 1.2]), expected)


@settings(deadline=None)
@given(samples=st.lists(st.floats(0.0, 1000.0), min_size=8, max_size=8))
def test_means_of_a_real_trace_need_no_raising(samples: list[float]) -> None:
    """Highest means over 1, 2, 4 and 8 samples of any trace already fall with the window."""
    highest = [max(float(np.mean(samples[k : k + n])) for k in range(9 - n)) for n in (1, 2, 4, 8)]
    np.testing.assert_allclose(measured_factor(highest), highest, rtol=1e-12)


@settings(deadline=None)
@given(factor=st.floats(1.0, 2.0), duty=st.floats(0.01, 0.24))
def test_recovery_level_keeps_the_rms_at_the_rating(factor: float, duty: float) -> None:
    """The RMS of excursion and recovery is the rating."""
    level = float(recovery_level(factor, duty))
    assert duty * factor**2 + (1.0 - duty) * level**2 == pytest.approx(1.0, rel=1e-12)


def test_recovery_level_of_a_hopeless_duty_is_zero() -> None:
    """Where the excursion alone has more than the rated RMS, no level helps."""
    assert float(recovery_level(2.0, 0.3)) == 0.0
