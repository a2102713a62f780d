"""Efficiency between known points."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from loopmargin_service.physics.efficiency import (
    TIERS_115_V,
    TIERS_230_V,
    efficiency,
    loss_polynomial,
    measured_loss,
    tier_loss,
)

TIER = st.sampled_from([*TIERS_115_V.values(), *TIERS_230_V.values()])


@pytest.mark.parametrize(
    ("tier", "load", "expected"),
    [
        ("bronze", 0.10, 0.7415),
        ("bronze", 0.75, 0.8381),
        ("gold", 0.30, 0.8932),
        ("gold", 0.60, 0.89656),
        ("platinum", 0.40, 0.9213),
        ("titanium", 0.15, 0.91180),
        ("titanium", 0.75, 0.93018),
    ],
)
def test_between_certified_points(tier: str, load: float, expected: float) -> None:
    """Own digits of the polynomial in the loss, worked out apart from this code."""
    actual = efficiency(load, tier_loss(load, TIERS_115_V[tier]))
    assert expected == pytest.approx(float(actual), abs=6e-5)


def test_loss_of_equal_efficiencies_is_in_proportion() -> None:
    """The same efficiency at every load leaves only the linear part of the loss."""
    np.testing.assert_allclose(loss_polynomial([0.8, 0.8, 0.8]), [0.0, 0.25, 0.0], atol=1e-12)


@settings(deadline=None)
@given(tier=TIER, load=st.floats(1e-4, 1.0))
def test_tiers_stay_between_nothing_and_their_best(tier: tuple[float, ...], load: float) -> None:
    """No load is free of loss, and no tier is much better between its points than at them."""
    loss = tier_loss(load, tier)

    assert loss > 0.0
    assert efficiency(load, loss) < max(tier) + 0.003


def test_low_load_is_continuous_and_keeps_a_loss() -> None:
    """Nothing jumps at 10 % and 2 %, and an idle supply still loses a little."""
    for load in (0.02, 0.10):
        below, above = tier_loss([load - 1e-9, load + 1e-9], TIERS_115_V["gold"])
        assert below == pytest.approx(above, abs=1e-7)
    assert tier_loss(0.0, TIERS_115_V["gold"]) == pytest.approx(0.02 * (1 / 0.6 - 1))


@settings(deadline=None)
@given(
    points=st.dictionaries(
        st.integers(1, 100).map(lambda percent: percent / 100.0),
        st.floats(0.3, 0.99),
        min_size=1,
        max_size=8,
    )
)
def test_measured_points_are_met(points: dict[float, float]) -> None:
    """The curve passes through every measured point."""
    loads = np.array(sorted(points))
    known = np.array([points[load] for load in loads])

    actual = efficiency(loads, measured_loss(loads, loads, known))

    np.testing.assert_allclose(actual, known, rtol=1e-9)


def test_outside_measured_points() -> None:
    """Below the first point the loss stays, above the last the efficiency does."""
    loads, known = [0.2, 0.5], [0.85, 0.90]

    below, above = measured_loss([0.05, 0.8], loads, known)

    assert below == pytest.approx(0.2 / 0.85 - 0.2)
    assert float(efficiency(0.8, above)) == pytest.approx(0.90)


def test_one_point_is_carried_on_both_ways() -> None:
    """With a single point the loss stays below it and the efficiency above it."""
    below, above = measured_loss([0.1, 1.0], [0.5], [0.9])

    assert below == pytest.approx(0.5 / 0.9 - 0.5)
    assert float(efficiency(1.0, above)) == pytest.approx(0.9)


@pytest.mark.parametrize("percent", range(60, 99))
def test_no_load_is_no_gain(percent: int) -> None:
    """Equal efficiencies leave no constant part, which rounding must not put below zero."""
    loads = np.array([0.0, 1e-300, 1e-20])
    for points in (3, 4):
        loss = tier_loss(loads, [percent / 100.0] * points)
        assert loss.min() >= 0.0
        assert efficiency(loads, loss)[0] == 0.0
