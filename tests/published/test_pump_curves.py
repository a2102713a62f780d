"""Pump curves against the rules of a network manual, its library, and closed forms."""

import numpy as np
import pytest
import wntr  # type: ignore[import-untyped]
from scipy.constants import g as gravity
from scipy.interpolate import PchipInterpolator
from scipy.optimize import brentq

from loopmargin_service.physics.curve import Curve, falling_curve, value_and_slope
from loopmargin_service.physics.drop import Drop
from tests.published.printed import Independent

pytestmark = pytest.mark.law("curve.falling_curve")

RULE = Independent("EPANET 2.2 User Manual, chapter 3, rule of the single point", rel=1e-12)
WNTR = Independent("wntr 1.5.0 `get_head_curve_coefficients`, single point", abs=1e-9)
POWER_LAW = Independent("wntr 1.5.0, power law through three points", abs=0.16)
PCHIP = Independent("scipy 1.17.1 `PchipInterpolator`", rel=1e-12)
AFFINITY = Independent("affinity, 6 L/min at 3 m from 4800 to 3600 rpm by hand", rel=1e-12)
MEETING = Independent("formula of the quadratic equation", rel=1e-10)

LITRE_PER_MINUTE = 1e-3 / 60.0


def head_curve_coefficients(points: list[tuple[float, float]]) -> tuple[float, float, float]:
    """Give A, B and C of A - B Q^C as wntr 1.5.0 reads EPANET's rules into head curve points."""
    network = wntr.network.WaterNetworkModel()
    network.add_curve("head", "HEAD", points)
    network.add_reservoir("suction", 0.0)
    network.add_junction("delivery")
    network.add_pump("pump", "suction", "delivery", pump_type="HEAD", pump_parameter="head")
    a, b, c = network.get_link("pump").get_head_curve_coefficients()
    return float(a), float(b), float(c)


def operating_flow(curve: Curve, drop: Drop, ratio: float) -> float:
    """Flow at which the pressure of the curve is that of the loop."""

    def excess(flow: float) -> float:
        needed = drop.linear * flow + drop.quadratic * flow**2
        return float(value_and_slope(curve, flow, ratio)[0] - needed)

    return brentq(excess, 0.0, 2.0 * curve.x[-1], xtol=1e-16, rtol=1e-13)


def test_single_point_rule() -> None:
    """Shut-off of 133 % and free flow of 200 % meet in the design point (EPANET, chapter 3)."""
    flow, head = 6.0 * LITRE_PER_MINUTE, 3.0

    curve = falling_curve([0.0, 2.0 * flow], [4.0 / 3.0 * head, 0.0])

    RULE.check(value_and_slope(curve, flow)[0], head)


def test_single_point_curve_equals_wntr() -> None:
    """Over its whole range that parabola is the head curve of wntr 1.5.0."""
    a, b, c = head_curve_coefficients([(6.0 * LITRE_PER_MINUTE, 3.0)])
    flow = np.linspace(0.0, 12.0, 13) * LITRE_PER_MINUTE

    head, _ = value_and_slope(falling_curve([0.0, flow[-1]], [4.0, 0.0]), flow)

    WNTR.check(head, a - b * flow**c)


# wntr fits three parameters to three points and so cannot tell their scatter.
@pytest.mark.filterwarnings("ignore:Covariance of the parameters")
def test_three_point_curve_is_near_to_wntr() -> None:
    """Between three points the curve is within 4 % of shut-off of the power law through them."""
    points = [(0.0, 4.0), (6.0 * LITRE_PER_MINUTE, 3.0), (12.0 * LITRE_PER_MINUTE, 0.5)]
    a, b, c = head_curve_coefficients(points)
    flow = np.linspace(0.0, 12.0, 25) * LITRE_PER_MINUTE

    head, _ = value_and_slope(falling_curve(*np.transpose(points)), flow)

    POWER_LAW.check(head, a - b * flow**c)


def test_points_where_a_quadratic_would_rise() -> None:
    """Through points whose best quadratic rises at zero flow, the curve still falls.

    Against numpy's polyfit, which gives +0.0267 at zero flow, and scipy's PCHIP.
    """
    flow, head = np.array([0.0, 3.0, 6.0, 9.0, 12.0]), np.array([4.0, 3.85, 3.35, 2.45, 1.1])
    assert np.polyfit(flow, head, 2)[1] > 0.0

    value, slope = value_and_slope(falling_curve(flow, head), np.array([0.5, 7.5]))

    assert slope[0] < 0.0
    PCHIP.check(value[1], PchipInterpolator(flow, head)(7.5))


@pytest.mark.law("curve.value_and_slope")
def test_slower_pump() -> None:
    """From 4800 to 3600 rpm, 6 L/min at 3.0 m become 4.5 L/min at 1.6875 m (affinity)."""
    curve = falling_curve([0.0, 12.0 * LITRE_PER_MINUTE], [4.0, 0.0])

    head, _ = value_and_slope(curve, 4.5 * LITRE_PER_MINUTE, 3600.0 / 4800.0)

    AFFINITY.check(head, 1.6875)


@pytest.mark.law("curve.value_and_slope")
@pytest.mark.parametrize("ratio", [1.0, 0.75, 0.5])
@pytest.mark.parametrize("free_flow", [9.0, 15.0])
def test_operating_point_of_a_parabola(ratio: float, free_flow: float) -> None:
    """A parabola against a Q + b Q^2 meets it where the quadratic equation says."""
    top = 4.0 * 998.2 * gravity
    last = free_flow * LITRE_PER_MINUTE
    loop = Drop(np.array(1.5e7), np.array(1.26e12))
    total = loop.quadratic + top / last**2
    root = np.sqrt(loop.linear**2 + 4.0 * total * ratio**2 * top)

    flow = operating_flow(falling_curve([0.0, last], [top, 0.0]), loop, ratio)

    MEETING.check(flow, (root - loop.linear) / (2.0 * total))
