"""Friction factor: limits, slope and the monotony that the network relies on."""

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from loopmargin_service.physics.pipe import (
    LAMINAR_LIMIT,
    TURBULENT_LIMIT,
    friction_factor,
    friction_factor_and_exponent,
)

REYNOLDS = st.floats(-6.0, 8.0).map(lambda exponent: 10.0**exponent)
ROUGHNESS = st.just(0.0) | st.floats(1e-7, 0.05)


def test_laminar_flow_follows_hagen_and_poiseuille() -> None:
    """Well below the transition the factor is 64 / Re to seven digits."""
    reynolds = np.logspace(-6, 3, 50)

    np.testing.assert_allclose(friction_factor(reynolds) * reynolds, 64.0, rtol=1e-7)


def test_laminar_limit_is_where_the_law_leaves_the_laminar_line() -> None:
    """At the laminar limit the law is still laminar to 0.2 %, at the turbulent limit not."""
    limits = np.array([LAMINAR_LIMIT, TURBULENT_LIMIT])

    excess = friction_factor(limits) * limits / 64.0 - 1.0

    assert excess[0] < 0.002
    assert excess[1] > 1.0


@settings(deadline=None)
@given(reynolds=REYNOLDS, roughness=ROUGHNESS)
def test_slope_is_the_derivative(reynolds: float, roughness: float) -> None:
    """The analytic slope agrees with a central difference of the factor."""
    step = 1e-5 * reynolds
    factor, exponent = friction_factor_and_exponent(reynolds, roughness)
    slope = exponent * factor / reynolds
    ahead, behind = friction_factor(np.array([reynolds + step, reynolds - step]), roughness)

    assert abs(slope - (ahead - behind) / (2.0 * step)) <= 1e-5 * factor / reynolds


@settings(deadline=None)
@given(reynolds=REYNOLDS, roughness=ROUGHNESS, growth=st.floats(1e-6, 1.0))
def test_pressure_drop_rises_with_flow(reynolds: float, roughness: float, growth: float) -> None:
    """More flow always costs more pressure: f Re^2 rises strictly, and so does its slope say."""
    flows = np.array([reynolds, reynolds * (1.0 + growth)])
    factor, exponent = friction_factor_and_exponent(flows, roughness)

    drop = factor * flows**2

    assert drop[1] > drop[0]
    assert (exponent > -2.0).all()


def test_rougher_walls_never_lose_less() -> None:
    """At every Reynolds number the factor rises with the roughness."""
    factor = friction_factor(np.logspace(-3, 8, 200), np.linspace(0.0, 0.05, 20)[:, None])

    assert (np.diff(factor, axis=0) >= 0.0).all()


def test_no_power_overflows_in_the_stated_range() -> None:
    """No warning and no number that is not finite from Re 1e-6 to 1e10."""
    with np.errstate(over="raise", divide="raise", invalid="raise"):
        both = friction_factor_and_exponent(
            np.logspace(-6, 10, 500), np.array([[0.0], [1e-4], [0.05]])
        )

    assert np.isfinite(both).all()


def test_one_case_equals_its_place_in_a_batch() -> None:
    """A scalar gives bit for bit what it gives inside a batch of any shape."""
    reynolds = np.array([[800.0, 2500.0], [7000.0, 1e6]])

    batch = friction_factor_and_exponent(reynolds, 1e-4)
    single = [friction_factor_and_exponent(re, 1e-4) for re in reynolds.ravel()]

    np.testing.assert_array_equal(np.reshape(batch, (2, 4)), np.transpose(single))
