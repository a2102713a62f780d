"""Random loads on supply and plugs: balance, bounds, order, scale and ways back."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from loopmargin_service.physics import connector, efficiency, excursion, supply

MANY = settings(derandomize=True, max_examples=100)
POWERS = st.floats(1.0, 1500.0)
FACTORS = st.floats(1.0, 3.0)
LOADS = st.lists(st.tuples(POWERS, FACTORS, FACTORS), min_size=1, max_size=6)


@MANY
@given(loads=LOADS, scale=st.floats(0.1, 10.0), allowed=FACTORS)
def test_demand_is_in_proportion_and_comes_back(
    loads: list[tuple[float, float, float]], scale: float, allowed: float
) -> None:
    """All loads times k demand k times as much, and never less than the sustained power.

    The rating that a window requires, times its allowance, is the demand again.
    """
    power, factor = np.array(loads)[:, 0], np.array(loads)[:, 1:]
    total = supply.demand(power, factor).sum(axis=0)

    np.testing.assert_allclose(supply.demand(scale * power, factor).sum(axis=0), scale * total)
    assert (total >= power.sum() * (1.0 - 1e-12)).all()
    required = supply.required_power(total, [allowed, 1.0])
    np.testing.assert_allclose(required * [allowed, 1.0], total)
    assert required[0] <= total[0]


@MANY
@given(power=POWERS, voltage=st.floats(90.0, 264.0), factor=st.floats(0.4, 1.0))
def test_mains_current_times_voltage_is_the_power(
    power: float, voltage: float, factor: float
) -> None:
    """P = U I times the power factor; at less than one more current flows."""
    current = supply.mains_current(power, voltage, factor)

    assert current * voltage * factor == pytest.approx(power, rel=1e-12)
    assert current >= supply.mains_current(power, voltage, 1.0)


@MANY
@given(window=st.floats(1e-5, 10.0), longer=st.floats(1.0, 100.0), peak=FACTORS)
def test_a_processor_peaks_less_over_longer_windows(
    window: float, longer: float, peak: float
) -> None:
    """The factor lies between one and the peak and never rises with the window."""
    short, long = excursion.processor_factor([window, window * longer], peak)

    assert 1.0 <= long <= short <= peak


@MANY
@given(mean=st.floats(0.5, 10.0), room=st.floats(1.01, 2.0), peak=st.floats(1.1, 5.0))
def test_the_duty_allowed_reaches_the_limit(mean: float, room: float, peak: float) -> None:
    """At the longest duty the RMS current is its limit, and a higher peak gets less time."""
    duty = connector.duty_allowed(peak, mean, room * mean)

    assert 0.0 < duty < 1.0
    assert mean * connector.rms_over_mean(peak, duty) == pytest.approx(room * mean, rel=1e-9)
    assert connector.duty_allowed(peak * 1.1, mean, room * mean) < duty
    assert connector.duty_allowed(peak, mean, 0.99 * mean) == 0.0


@MANY
@given(current=st.floats(0.1, 15.0), rating=st.floats(5.0, 13.0), factor=st.floats(0.2, 3.0))
def test_a_contact_warms_by_its_share_of_the_rating(
    current: float, rating: float, factor: float
) -> None:
    """Only current over rating counts, as a square, with 30 K at the rating."""
    rise = float(connector.contact_rise(current, rating))

    assert connector.contact_rise(factor * current, factor * rating) == pytest.approx(rise)
    assert connector.contact_rise(factor * current, rating) == pytest.approx(factor**2 * rise)
    assert connector.contact_rise(rating, rating) == pytest.approx(30.0)


@MANY
@given(least=st.lists(st.floats(0.5, 0.98), min_size=3, max_size=4))
def test_the_loss_goes_through_what_is_certified(least: list[float]) -> None:
    """At the certified loads the efficiency comes back."""
    loads = np.array(efficiency.TIER_LOADS[len(least)])
    loss = np.polynomial.polynomial.polyval(loads, efficiency.loss_polynomial(least))

    np.testing.assert_allclose(efficiency.efficiency(loads, loss), least, rtol=1e-9)
