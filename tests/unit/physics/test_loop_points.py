"""Loops: where pumps and branches meet, alone, in series, beside each other and in batches."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import brentq

from loopmargin_service.physics.coolant import Properties
from loopmargin_service.physics.curve import value_and_slope
from loopmargin_service.physics.loop import Liquid
from tests.unit.physics.bench_loop import (
    DENSITY,
    GRAVITY,
    LITRE_PER_MINUTE,
    TUBES,
    VISCOSITY,
    Branch,
    Part,
    Pump,
    Tube,
    darcy_weisbach,
    filled,
    flows,
    litres_per_minute,
    loop,
    parabola,
)

ROUGH = settings(deadline=None, max_examples=40)


@ROUGH
@given(
    tubes=st.lists(TUBES, min_size=1, max_size=4),
    head=st.floats(0.5, 7.0),
    viscosity=st.floats(3e-4, 5e-3),
    ratio=st.floats(0.3, 1.1),
)
def test_operating_point_of_one_loop(
    tubes: list[Tube], head: float, viscosity: float, ratio: float
) -> None:
    """One pump and one branch meet where a root finder says, on equations written out here."""
    layout = loop([Branch(1, 0, [*tubes, Part()])], [Pump(parabola(head, 15.0))])

    def excess(mass_flow: float) -> float:
        flow = mass_flow / DENSITY
        lift = ratio**2 * head * (1.0 - (flow / (ratio * 15.0 * LITRE_PER_MINUTE)) ** 2)
        lost = sum(darcy_weisbach(tube, mass_flow, DENSITY, viscosity) for tube in tubes)
        lost += 1.5e7 * viscosity / VISCOSITY * flow + 1.26e12 * flow**2
        return DENSITY * GRAVITY * lift - lost

    expected = brentq(excess, 1e-9, 1.5 * 15.0 * LITRE_PER_MINUTE * DENSITY, xtol=1e-15)

    found = flows(layout, filled(layout, viscosity), ratio)

    np.testing.assert_allclose(found.flow[:, 0], expected, rtol=1e-7)


@ROUGH
@given(tubes=st.lists(TUBES, min_size=2, max_size=5), data=st.data())
def test_the_order_in_a_branch_is_free(tubes: list[Tube], data: st.DataObject) -> None:
    """What stands in a row loses the same in any order, in one branch or in two."""
    order = data.draw(st.permutations(tubes))
    cut = data.draw(st.integers(0, len(order)))
    pump = Pump(parabola())

    whole = flows(loop([Branch(1, 0, [*tubes, Part()])], [pump])).flow[0, 0]
    parts = [Branch(1, 2, [*order[:cut], Part()]), Branch(2, 0, order[cut:])]

    assert flows(loop(parts, [pump])).flow[0, 0] == pytest.approx(whole, rel=1e-8)


def test_a_cut_tube_loses_the_same() -> None:
    """Two tubes of half the length are one tube."""
    whole, halves = (
        flows(loop([Branch(1, 0, elements)], [Pump(parabola())])).flow[0, 0]
        for elements in ([Tube(2.0, inertial=9.0)], [Tube(1.0, inertial=4.5)] * 2)
    )

    assert whole == pytest.approx(halves, rel=1e-12)


@ROUGH
@given(tubes=st.lists(TUBES, min_size=1, max_size=3))
def test_batch_equals_single_loops(tubes: list[Tube]) -> None:
    """Cold and warm, slow and fast at once are the same as one after the other."""
    layout = loop(
        [Branch(1, 2, tubes), Branch(2, 0, [Part()]), Branch(2, 0, [Tube(1.0), Part()])],
        [Pump(parabola())],
    )
    viscosity, speed = np.array([2e-3, 1e-3, 6e-4]), np.array([0.5, 0.8, 1.1])

    together = flows(layout, filled(layout, viscosity), speed).flow

    for case in range(3):
        alone = flows(layout, filled(layout, viscosity[case]), speed[case]).flow[:, 0]
        np.testing.assert_allclose(together[:, case], alone, rtol=1e-8)


@pytest.mark.parametrize("ratio", [1.0, 0.75, 0.5])
def test_a_parabola_against_a_measured_part(ratio: float) -> None:
    """The two quadratics meet where their formula says, with affinity for the speed."""
    layout = loop([Branch(1, 0, [Part()])], [Pump(parabola())])
    top = 4.0 * DENSITY * GRAVITY
    total = 1.26e12 + top / (15.0 * LITRE_PER_MINUTE) ** 2
    root = math.sqrt(1.5e7**2 + 4.0 * total * ratio**2 * top)

    found = flows(layout, speed=ratio).flow[0, 0] / DENSITY

    assert found == pytest.approx((root - 1.5e7) / (2.0 * total), rel=1e-9)


def test_equal_pumps_in_series_and_parallel() -> None:
    """In series two pumps add their heads, in parallel their flows, and share equally."""
    part, pump = [Part()], parabola()
    single = parabola(8.0, 15.0), parabola(4.0, 30.0)

    row = flows(loop([Branch(1, 0, part)], [Pump(pump, 0, 2), Pump(pump, 2, 1)])).flow
    beside = flows(loop([Branch(1, 0, part)], [Pump(pump), Pump(pump)])).flow
    expected = [flows(loop([Branch(1, 0, part)], [Pump(one)])).flow[0, 0] for one in single]

    np.testing.assert_allclose(row[:, 0], expected[0], rtol=1e-8)
    np.testing.assert_allclose(
        beside[:, 0], [expected[1], expected[1] / 2.0, expected[1] / 2.0], rtol=1e-8
    )


def test_a_weak_pump_beside_a_strong_one_is_shut() -> None:
    """Above its shut-off head a pump's check valve closes, and the strong pump runs alone."""
    strong, weak = parabola(4.0, 15.0), parabola(2.5, 12.0)
    layout = loop([Branch(1, 0, [Part()])], [Pump(strong), Pump(weak)])

    found = flows(layout)
    alone = flows(loop([Branch(1, 0, [Part()])], [Pump(strong)]))

    assert found.pressure[1, 0] > 2.5 * DENSITY * GRAVITY
    assert abs(found.flow[2, 0]) < 1e-6 * found.flow[1, 0]
    assert found.flow[0, 0] == pytest.approx(alone.flow[0, 0], rel=1e-6)


@ROUGH
@given(
    strengths=st.lists(
        st.tuples(st.floats(0.3, 7.0), st.floats(4.0, 25.0)), min_size=2, max_size=4
    ),
    speed=st.floats(0.2, 1.1),
    tube=TUBES,
)
def test_every_pump_runs_or_is_shut(
    strengths: list[tuple[float, float]], speed: float, tube: Tube
) -> None:
    """Beside each other a pump either lifts to the common pressure, or its valve stays shut.

    Shut it passes next to nothing, and even at rest could not lift that high.
    """
    curves = [parabola(*strength) for strength in strengths]
    layout = loop([Branch(1, 0, [tube, Part()])], [Pump(curve) for curve in curves])

    found = flows(layout, speed=speed)

    pressure, pumped = found.pressure[1, 0], found.flow[1:, 0]
    assert pumped.sum() == pytest.approx(found.flow[0, 0], rel=1e-9)
    for curve, flow in zip(curves, pumped, strict=True):
        head = float(value_and_slope(curve, max(flow, 0.0) / DENSITY, speed)[0])
        lift = head * DENSITY * GRAVITY
        if flow > 1e-6 * found.flow[0, 0]:
            assert lift == pytest.approx(pressure, rel=1e-6)
        else:
            assert abs(flow) <= 1e-5 * found.flow[0, 0]
            assert lift <= pressure * (1.0 + 1e-6)


def test_pumps_of_unequal_strength_in_series() -> None:
    """In series both carry one flow, and the weaker gives less than it could at rest."""
    strong, weak = parabola(4.0, 15.0), parabola(2.5, 12.0)

    found = flows(loop([Branch(1, 0, [Part()])], [Pump(strong, 0, 2), Pump(weak, 2, 1)]))
    flow = found.flow[0, 0] / DENSITY
    lifts = [float(value_and_slope(curve, flow)[0]) for curve in (strong, weak)]

    assert found.pressure[2, 0] == pytest.approx(lifts[0] * DENSITY * GRAVITY, rel=1e-7)
    assert found.pressure[1, 0] == pytest.approx(sum(lifts) * DENSITY * GRAVITY, rel=1e-7)
    assert found.pressure[1, 0] == pytest.approx(1.5e7 * flow + 1.26e12 * flow**2, rel=1e-7)


def test_a_standing_pump_moves_nothing() -> None:
    """At no speed nothing flows."""
    found = flows(loop([Branch(1, 0, [Part()])], [Pump(parabola())]), speed=0.0)

    np.testing.assert_allclose(litres_per_minute(found.flow), 0.0, atol=1e-4)


def test_warm_places_count_where_they_are() -> None:
    """Of two equal parallel tubes the warmer, thinner coolant takes the larger share."""
    branch = Branch(1, 0, [Tube(2.0, 0.003)])
    layout = loop([branch, branch], [Pump(parabola(0.1))])
    cold = filled(layout)
    warm = Properties(DENSITY + np.zeros((2, 1)), np.array([[1e-3], [5e-4]]), *cold.passages[2:])

    found = flows(layout, Liquid(warm, cold.components, cold.pumps)).flow[:, 0]

    reynolds = 4.0 * found[:2] / (math.pi * 0.003 * warm.viscosity[:, 0])
    assert (reynolds < 1900.0).all()
    assert found[1] / found[0] == pytest.approx(2.0, rel=1e-3)


@ROUGH
@given(
    tubes=st.lists(TUBES, min_size=1, max_size=3),
    factor=st.floats(1.0, 3.0),
    field=st.sampled_from(["relative_roughness", "friction_length", "viscous", "inertial"]),
)
def test_more_of_a_single_branch_never_flows_faster(
    tubes: list[Tube], factor: float, field: str
) -> None:
    """A longer or rougher way, or worse fittings, never raise the flow of a single branch.

    A thicker coolant may: where it brings a tube back from turbulent to laminar flow.
    """
    layout = loop([Branch(1, 0, [*tubes, Part()])], [Pump(parabola())])
    worse = factor * getattr(layout.passages, field)
    changed = replace(layout, passages=replace(layout.passages, **{field: worse}))

    assert flows(changed).flow[0, 0] <= flows(layout).flow[0, 0] * (1.0 + 1e-9)
