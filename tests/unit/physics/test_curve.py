"""Performance curves: the points, the slopes, affinity, and the straight ends."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.interpolate import PchipInterpolator

from loopmargin_service.physics.curve import (
    CHECK_VALVE_STEEPNESS,
    Curve,
    falling_curve,
    strictly_falling,
    value_and_slope,
)

FLOW = np.array([0.0, 3.0, 6.0, 9.0, 12.0])
HEAD = np.array([4.0, 3.85, 3.35, 2.45, 1.1])


@st.composite
def curves(draw: st.DrawFn) -> Curve:
    """Draw a curve of two to eight points, with steps that differ by up to a hundred."""
    steps = st.floats(0.1, 10.0)
    count = draw(st.integers(1, 7))
    widths = draw(st.lists(steps, min_size=count, max_size=count))
    falls = draw(st.lists(steps, min_size=count, max_size=count))
    start = draw(st.just(0.0) | steps)
    flow = start + np.concatenate(([0.0], np.cumsum(widths)))
    return falling_curve(flow, sum(falls) - np.concatenate(([0.0], np.cumsum(falls))))


def reach(curve: Curve) -> NDArray[np.float64]:
    """Flows from far below the first point to far beyond the last."""
    width = curve.x[-1] - curve.x[0]
    return np.linspace(curve.x[0] - width, curve.x[-1] + width, 401)


def test_shut_off_and_free_flow_make_a_parabola() -> None:
    """Two points from zero flow on give y0 (1 - (x / x1)^2) and its slope."""
    flow = np.linspace(0.0, 15.0, 7)

    value, slope = value_and_slope(falling_curve([0.0, 15.0], [4.0, 0.0]), flow)

    np.testing.assert_allclose(value, 4.0 * (1.0 - (flow / 15.0) ** 2), atol=1e-12)
    np.testing.assert_allclose(slope[1:-1], -8.0 * flow[1:-1] / 15.0**2)


def test_many_points_are_joined_as_by_pchip() -> None:
    """Inside its points the curve is scipy's PchipInterpolator, value and slope."""
    flow = np.linspace(0.01, 11.99, 200)
    independent = PchipInterpolator(FLOW, HEAD)

    value, slope = value_and_slope(falling_curve(FLOW, HEAD), flow)

    np.testing.assert_allclose(value, independent(flow), rtol=1e-13)
    np.testing.assert_allclose(slope, independent.derivative()(flow), rtol=1e-11)


def test_two_points_off_the_axis_make_a_line() -> None:
    """Without a point at zero flow there is no top to put a parabola on."""
    value, slope = value_and_slope(falling_curve([5.0, 15.0], [4.0, 2.0]), [0.0, 10.0, 20.0])

    np.testing.assert_allclose(value, [5.0, 3.0, 1.0])
    np.testing.assert_allclose(slope, -0.2)


@settings(deadline=None)
@given(curve=curves(), ratio=st.floats(0.05, 1.5))
def test_every_curve_falls_strictly(curve: Curve, ratio: float) -> None:
    """Head falls over all flows, and its slope is below zero everywhere."""
    value, slope = value_and_slope(curve, ratio * reach(curve), ratio)

    assert (np.diff(value) < 0.0).all()
    assert (slope < 0.0).all()


@settings(deadline=None)
@given(curve=curves(), ratio=st.floats(0.05, 1.5), place=st.floats(-1.0, 2.0))
def test_slope_is_the_derivative_of_the_curve(curve: Curve, ratio: float, place: float) -> None:
    """Away from the knots the slope agrees with a central difference."""
    width = curve.x[-1] - curve.x[0]
    flow = curve.x[0] + place * width
    step = 1e-6 * width
    if np.abs(curve.x - flow).min() < 2.0 * step:
        return
    _, slope = value_and_slope(curve, ratio * flow, ratio)
    ahead, behind = value_and_slope(curve, ratio * (flow + step * np.array([1.0, -1.0])), ratio)[0]

    numeric = (ahead - behind) / (2.0 * ratio * step)
    assert abs(slope - numeric) <= 1e-5 * abs(ratio * curve.mean_slope)


@settings(deadline=None)
@given(curve=curves())
def test_curve_passes_its_points_without_a_step(curve: Curve) -> None:
    """In each point, and from either side of it, the curve has the head of the point."""
    near = curve.x + 1e-9 * np.array([[-1.0], [0.0], [1.0]])

    value, _ = value_and_slope(curve, near)

    np.testing.assert_allclose(value, np.broadcast_to(curve.y, (3, curve.y.size)), atol=1e-6)


def test_beyond_the_points_the_steeper_slope_goes_on() -> None:
    """Past the last point a curve falls at least as steeply as over the last stretch."""
    curve = falling_curve(FLOW, HEAD)

    value, slope = value_and_slope(curve, [-6.0, 18.0])

    assert slope[1] == min(curve.slopes[-1], (HEAD[-1] - HEAD[-2]) / 3.0)
    assert value[1] == pytest.approx(HEAD[-1] + 6.0 * slope[1])
    assert slope[0] == min(curve.slopes[0], (HEAD[1] - HEAD[0]) / 3.0)
    assert value[0] == pytest.approx(HEAD[0] - 6.0 * slope[0])


def test_speed_scales_flow_once_and_head_twice() -> None:
    """At half speed, half the flow has a quarter of the head, over a batch of speeds."""
    curve = falling_curve(FLOW, HEAD)
    ratio = np.array([0.5, 0.75, 1.0])

    value, _ = value_and_slope(curve, 7.5 * ratio, ratio)

    np.testing.assert_allclose(value, ratio**2 * value_and_slope(curve, 7.5)[0])


def test_a_standing_machine_gives_no_head() -> None:
    """At no speed the head vanishes, and the slope stays below zero."""
    value, slope = value_and_slope(falling_curve(FLOW, HEAD), [0.0, 6.0], 0.0)

    np.testing.assert_allclose(value, 0.0, atol=1e-5)
    assert (slope < 0.0).all()


def test_a_closed_check_valve_is_steep_and_changes_nothing_else() -> None:
    """Below zero flow the head climbs steeply at any speed; above it the curve is its own."""
    curve = falling_curve(FLOW, HEAD)
    flow = np.array([-1e-3, 0.0, 4.0])

    free = np.array(value_and_slope(curve, flow, 0.5))
    closed = np.array(value_and_slope(curve, flow, 0.5, check_valve=True))

    wall = CHECK_VALVE_STEEPNESS * curve.mean_slope
    np.testing.assert_allclose(closed - free, [[-1e-3 * wall, 0.0, 0.0], [wall, 0.0, 0.0]])


def test_one_flow_equals_its_place_in_a_batch() -> None:
    """A scalar gives bit for bit what it gives inside a batch."""
    curve = falling_curve(FLOW, HEAD)
    flow = np.array([-1.0, 2.0, 6.0, 14.0])

    batch = value_and_slope(curve, flow, 0.8)
    single = [value_and_slope(curve, one, 0.8) for one in flow]

    np.testing.assert_array_equal(batch, np.transpose(single))


@pytest.mark.parametrize(("flow", "head"), [(FLOW, HEAD), ([0.0, 1.0], [2.0, 1.0])])
def test_points_that_fall_make_a_curve(flow: list[float], head: list[float]) -> None:
    """Two points or more, flow rising and head falling, are enough."""
    assert strictly_falling(flow, head)


@pytest.mark.parametrize(
    ("flow", "head"),
    [
        ([1.0], [2.0]),
        ([0.0, 1.0, 1.0], [3.0, 2.0, 1.0]),
        ([0.0, 1.0, 2.0], [3.0, 3.0, 1.0]),
        ([0.0, 1.0, 2.0], [3.0, 4.0, 1.0]),
        ([0.0, np.inf], [3.0, 1.0]),
        ([0.0, 1.0], [3.0, -np.inf]),
    ],
)
def test_points_that_do_not_fall_are_told_apart(flow: list[float], head: list[float]) -> None:
    """A single point, a repeated flow, a level or rising head and infinities make no curve."""
    assert not strictly_falling(flow, head)
