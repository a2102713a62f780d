"""The shape-preserving cubic is scipy's, without scipy's import."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from scipy.interpolate import PchipInterpolator

from loopmargin_service.physics import monotone

steps = st.lists(st.floats(0.1, 3.0), min_size=1, max_size=8)
values = st.lists(st.floats(-5.0, 5.0).map(lambda v: round(v, 2)), min_size=9, max_size=9)


@given(steps, values)
def test_slopes_are_those_of_pchip(widths: list[float], heights: list[float]) -> None:
    """In every point the slope is that of scipy 1.17's PchipInterpolator."""
    x = np.concatenate([[0.0], np.cumsum(widths)])
    y = np.array(heights[: x.size])

    independent = PchipInterpolator(x, y).derivative()(x)

    np.testing.assert_allclose(monotone.slopes(x, y), independent, rtol=1e-9, atol=1e-9)


@given(steps, values, st.floats(0.0, 1.0))
def test_values_are_those_of_pchip(widths: list[float], heights: list[float], share: float) -> None:
    """Between the points the value is that of scipy 1.17's PchipInterpolator."""
    x = np.concatenate([[0.0], np.cumsum(widths)])
    y = np.array(heights[: x.size])
    at = np.array([share * x[-1]])

    independent = PchipInterpolator(x, y)(at)

    np.testing.assert_allclose(monotone.interpolate(x, y, at), independent, rtol=1e-9, atol=1e-9)
