"""Cold plates: the law, and the fit that finds it again."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from loopmargin_service.physics import cold_plate

LITRE = cold_plate.REFERENCE_FLOW


def test_three_flows_in_closed_form() -> None:
    """Flows of 1, 2 and 4 have a closed solution: exponent from the ratio of the two falls."""
    measured = [0.05, 0.0397926187, 0.0330582584]

    fit = cold_plate.fit_resistance(np.array([1.0, 2.0, 4.0]) * LITRE, measured)

    exponent = np.log2((measured[0] - measured[1]) / (measured[1] - measured[2]))
    assert fit.exponent == pytest.approx(exponent, abs=1e-5)
    assert (fit.minimum, fit.factor) == pytest.approx((0.02, 0.03), abs=1e-6)
    assert fit.residual < 1e-9


@given(
    minimum=st.floats(0.0, 0.1),
    factor=st.floats(0.005, 0.1),
    exponent=st.floats(0.2, 1.0),
    flows=st.lists(st.floats(0.3, 12.0), min_size=4, max_size=12, unique=True),
)
def test_fit_goes_through_points_of_the_law(
    minimum: float, factor: float, exponent: float, flows: list[float]
) -> None:
    """Points that lie on a law are met again, to a tenth of a per mille."""
    flow = np.array(flows) * LITRE
    measured = cold_plate.resistance(minimum, factor, exponent, flow)

    fit = cold_plate.fit_resistance(flow, measured)

    assert fit.residual < 1e-4
    assert 0.2 <= fit.exponent <= 1.0


@given(
    points=st.lists(st.tuples(st.floats(0.2, 15.0), st.floats(0.005, 0.5)), min_size=1, max_size=30)
)
def test_any_points_give_a_physical_law(points: list[tuple[float, float]]) -> None:
    """However bad the points, minimum and factor are not negative and all is finite."""
    flow, measured = np.array(points).T

    fit = cold_plate.fit_resistance(flow * LITRE, measured)

    assert np.all(np.isfinite(fit))
    assert fit.minimum >= 0.0
    assert fit.factor >= 0.0
    low, high = cold_plate.EXPONENT_RANGE
    assert low <= fit.exponent <= high


def test_one_flow_gives_a_constant() -> None:
    """A single point says nothing about flow."""
    fit = cold_plate.fit_resistance([2.0 * LITRE], [0.04])

    assert fit[:3] == pytest.approx((0.04, 0.0, cold_plate.EXPONENT_TYPICAL))


def test_one_flow_measured_twice_gives_a_mean() -> None:
    """Two readings at one flow are no slope."""
    fit = cold_plate.fit_resistance([2.0 * LITRE] * 2, [0.04, 0.05])

    assert fit.factor == 0.0
    assert 0.04 < fit.minimum < 0.05


def test_two_flows_take_the_usual_exponent() -> None:
    """Two points are met exactly with the exponent that is assumed."""
    flow = np.array([1.0, 4.0]) * LITRE

    fit = cold_plate.fit_resistance(flow, [0.05, 0.03])

    assert fit.exponent == cold_plate.EXPONENT_TYPICAL
    assert cold_plate.resistance(*fit[:3], flow).tolist() == pytest.approx([0.05, 0.03])


def test_resistance_that_rises_with_flow_is_flattened() -> None:
    """A rising resistance is a measuring error; the law stays flat through it."""
    fit = cold_plate.fit_resistance(np.array([1.0, 2.0, 4.0]) * LITRE, [0.03, 0.04, 0.05])

    assert fit.factor == 0.0
    assert fit.residual > 0.1


def test_resistance_that_falls_too_fast_has_no_minimum() -> None:
    """Below the warming of the coolant nothing is left for a minimum."""
    fit = cold_plate.fit_resistance(np.array([1.0, 2.0, 4.0]) * LITRE, [0.5, 0.2, 0.03])

    assert fit.minimum == 0.0
    assert fit.exponent == pytest.approx(1.0)


@given(flow=st.floats(0.0, 1e-3), more=st.floats(1.0, 5.0))
def test_more_flow_resists_less(flow: float, more: float) -> None:
    """The resistance falls with flow, either way round, and never below its minimum."""
    slow, fast, back = cold_plate.resistance(0.02, 0.03, 0.6, [flow, more * flow, -flow])

    assert slow >= fast > 0.02
    assert back == slow


def test_still_coolant_has_a_finite_resistance() -> None:
    """No flow counts as the least flow."""
    still, least = cold_plate.resistance(0.02, 0.03, 0.6, [0.0, cold_plate.FLOW_MIN])

    assert still == least
