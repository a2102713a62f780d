"""Fitted pressure drops: exact recovery, the non-negative edge, states and couplings."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import nnls

from loopmargin_service.physics.drop import Drop, at_state, fit_drop, from_kv

POSITIVE = st.floats(1e-3, 1e3)


@settings(deadline=None)
@given(linear=POSITIVE, quadratic=POSITIVE, span=st.floats(1.5, 20.0))
def test_exact_data_are_recovered(linear: float, quadratic: float, span: float) -> None:
    """Points that lie on the law give back its coefficients, weighted or not."""
    flow = np.linspace(1.0, span, 5)

    fitted = fit_drop(flow, linear * flow + quadratic * flow**2)

    predicted = fitted.linear * flow + fitted.quadratic * flow**2
    np.testing.assert_allclose(predicted, linear * flow + quadratic * flow**2, rtol=1e-9)


@settings(deadline=None)
@given(
    points=st.lists(st.tuples(st.floats(1.0, 2.9), st.floats(0.1, 100.0)), min_size=2, max_size=8)
)
def test_any_data_give_the_non_negative_optimum(points: list[tuple[float, float]]) -> None:
    """No coefficient is negative, and no other pair leaves less error (scipy nnls)."""
    flow, drop = np.transpose(points)
    columns = np.stack((flow, flow**2), axis=1)

    fitted = fit_drop(flow, drop)

    assert min(fitted) >= 0.0
    left = np.linalg.norm(columns @ np.array(fitted) - drop)
    assert left <= nnls(columns, drop)[1] * (1.0 + 1e-6) + 1e-9


def test_wide_spans_are_fitted_by_relative_error() -> None:
    """Above a span of three the small drops count as much as the large (scipy nnls, 1/dp)."""
    flow = np.array([2.0, 4.0, 6.0, 8.0])
    drop = np.array([2.1, 6.4, 14.4, 24.1])

    fitted = fit_drop(flow, drop)

    columns = np.stack((flow, flow**2), axis=1) / drop[:, None]
    np.testing.assert_allclose(fitted, nnls(columns, np.ones(4))[0], rtol=1e-9)


def test_narrow_spans_are_fitted_by_absolute_error() -> None:
    """Up to a span of three the plain least squares stand (scipy nnls)."""
    flow = np.array([3.0, 4.0, 6.0, 9.0])
    drop = np.array([2.1, 6.4, 14.4, 31.0])

    fitted = fit_drop(flow, drop)

    expected = nnls(np.stack((flow, flow**2), axis=1), drop)[0]
    np.testing.assert_allclose(fitted, expected, rtol=1e-9)


def test_data_steeper_than_square_have_no_linear_part() -> None:
    """Where the free fit would need a negative linear part, it is zero and the rest is fitted."""
    flow, drop = np.array([2.0, 4.0, 6.0]), np.array([1.8, 8.0, 19.0])

    fitted = fit_drop(flow, drop)

    assert fitted.linear == 0.0
    assert fitted.quadratic == pytest.approx(np.sum(flow**2 * drop) / np.sum(flow**4))


def test_data_flatter_than_linear_have_no_quadratic_part() -> None:
    """Where the free fit would need a negative quadratic part, it is zero."""
    flow, drop = np.array([1.0, 2.0, 3.0]), np.array([2.0, 2.9, 3.5])

    fitted = fit_drop(flow, drop)

    assert fitted.quadratic == 0.0
    assert fitted.linear == pytest.approx(np.sum(flow * drop) / np.sum(flow**2))


@pytest.mark.parametrize("repeats", [1, 3])
def test_one_flow_is_taken_as_quadratic(repeats: int) -> None:
    """A single flow, stated once or often, gives the whole drop to the square."""
    fitted = fit_drop(np.full(repeats, 5.0), np.full(repeats, 2.0))

    assert fitted.linear == 0.0
    assert fitted.quadratic == pytest.approx(0.08)


def test_a_point_at_rest_says_nothing() -> None:
    """The origin is on every law: with it or without, the fit is the same."""
    flow, drop = np.array([2.0, 4.0, 8.0]), np.array([2.1, 6.4, 24.1])

    with_origin = fit_drop(np.append(0.0, flow), np.append(0.0, drop))

    np.testing.assert_allclose(with_origin, fit_drop(flow, drop), rtol=1e-12)


def test_a_drop_read_as_zero_does_not_rule_the_fit() -> None:
    """A zero read at low flow moves the fit of the other points by less than 5 %."""
    fitted = fit_drop(np.array([1.0, 4.0, 8.0]), np.array([0.0, 5.6, 22.4]))

    assert fitted.quadratic == pytest.approx(0.35, rel=0.05)


def test_no_drop_at_all_is_an_open_pipe() -> None:
    """Points that all read zero fit a part without resistance."""
    np.testing.assert_array_equal(fit_drop(np.array([1.0, 8.0]), np.zeros(2)), 0.0)


def test_points_without_flow_are_refused() -> None:
    """A drop cannot be fitted where nothing flows."""
    with pytest.raises(ValueError, match="above zero"):
        fit_drop(np.zeros(2), np.zeros(2))


def test_viscosity_moves_the_linear_part_and_density_the_quadratic() -> None:
    """Each part follows its own property, over a batch of states."""
    moved = at_state(Drop(np.array(2.0), np.array(3.0)), np.array([1.0, 0.5]), np.array([1.0, 1.1]))

    np.testing.assert_allclose(moved.linear, [2.0, 1.0])
    np.testing.assert_allclose(moved.quadratic, [3.0, 3.3])


def test_kv_is_the_flow_at_one_bar() -> None:
    """At the flow of its Kv a part drops one bar of water, and more of a denser coolant."""
    flow = 0.8 / 3600.0

    drop = from_kv(flow, np.array([1000.0, 1030.0]))

    np.testing.assert_allclose(drop.quadratic * flow**2, [1.00e5, 1.03e5])
    np.testing.assert_array_equal(drop.linear, 0.0)
