"""Demand, rating, derating and mains current of a power supply."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from loopmargin_service.physics.supply import (
    demand,
    derate_factor,
    full_rating_temperature,
    mains_current,
    required_power,
)


def test_demand_multiplies_each_load_by_its_own_factor() -> None:
    """Rows are loads, columns windows; nothing is mixed between loads."""
    expected = [[200.0, 100.0], [900.0, 300.0]]
    np.testing.assert_array_equal(demand([100.0, 300.0], [[2.0, 1.0], [3.0, 1.0]]), expected)


def test_demand_carries_a_batch() -> None:
    """Many cases at once are the same as one after the other."""
    factors = np.array([[2.0, 1.5, 1.0], [3.0, 2.0, 1.0]])
    batch = np.array([[100.0, 200.0], [300.0, 50.0]])

    together = demand(batch, factors)

    assert together.shape == (2, 3, 2)
    for case in range(2):
        np.testing.assert_array_equal(together[..., case], demand(batch[:, case], factors))


def test_required_power_divides_by_the_allowance() -> None:
    """Demand of 300 W with an allowance of two asks for 150 W, with and without a batch."""
    np.testing.assert_array_equal(required_power([300.0, 200.0], [2.0, 1.0]), [150.0, 200.0])
    np.testing.assert_array_equal(
        required_power([[300.0], [200.0]], [2.0, 1.0]), [[150.0], [200.0]]
    )


@pytest.mark.parametrize(
    ("inlet_c", "full_c", "slope", "expected"),
    [
        (40, 50, 0.025, 1.0),
        (55, 50, 0.025, 0.875),
        (60, 50, 0.025, 0.75),
        (45, 40, 0.02, 0.90),
        (50, 40, 0.02, 0.80),
        (200, 40, 0.02, 0.0),
    ],
)
def test_derating_is_a_line_between_one_and_nothing(
    inlet_c: float, full_c: float, slope: float, expected: float
) -> None:
    """Full rating up to the rated inlet, a straight loss above it, never below nothing."""
    assert expected == pytest.approx(float(derate_factor(inlet_c, full_c, slope)), abs=1e-12)


@pytest.mark.parametrize(
    ("altitude", "expected"), [(-400.0, 0.0), (900.0, 0.0), (1200.0, 1.0), (2000.0, 3.667)]
)
def test_altitude_lowers_the_rated_inlet(altitude: float, expected: float) -> None:
    """One kelvin for each 300 m above 900 m; below that altitude nothing."""
    assert expected == pytest.approx(
        323.15 - float(full_rating_temperature(323.15, altitude)), abs=5e-4
    )


@settings(deadline=None)
@given(
    inlet=st.floats(250.0, 350.0),
    warmer=st.floats(0.0, 50.0),
    altitude=st.floats(0.0, 5000.0),
    higher=st.floats(0.0, 5000.0),
)
def test_warmer_or_higher_never_gives_more(
    inlet: float, warmer: float, altitude: float, higher: float
) -> None:
    """The derating never rises with inlet temperature or altitude."""
    here = derate_factor(inlet, full_rating_temperature(313.15, altitude), 0.02)
    there = derate_factor(inlet + warmer, full_rating_temperature(313.15, altitude + higher), 0.02)
    assert there <= here


@pytest.mark.parametrize(
    ("power", "voltage", "power_factor", "expected"),
    [
        (669.221, 115.0, 0.99, 5.8781),
        (669.221, 230.0, 0.95, 3.0628),
        (1149.425, 100.0, 0.99, 11.6104),
    ],
)
def test_mains_current(power: float, voltage: float, power_factor: float, expected: float) -> None:
    """Real power over voltage and power factor; own digits, worked out apart from this code."""
    assert expected == pytest.approx(float(mains_current(power, voltage, power_factor)), abs=6e-5)
