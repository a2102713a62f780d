"""Loops: what a branch loses and what pumps give, as laws of the flow."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from loopmargin_service.physics.curve import falling_curve
from loopmargin_service.physics.loop import (
    ImposedFlow,
    Liquid,
    Loop,
    LoopFactors,
    LoopLaw,
    component_terms,
    loop_terms,
    pump_gain,
)
from loopmargin_service.physics.network import Array, solve
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
    components,
    darcy_weisbach,
    everywhere,
    filled,
    law,
    loop,
    parabola,
)

ROUGH = settings(deadline=None, max_examples=40)
FLOWS = st.floats(-0.3, 0.3).filter(lambda flow: abs(flow) > 1e-6)


def test_a_measured_part_at_its_own_state() -> None:
    """Filled with what it was measured with, a part loses what was measured."""
    linear, quadratic = component_terms(
        components([Branch(0, 1, [Part()])]), everywhere(1, VISCOSITY)
    )
    flow = 5.0 * LITRE_PER_MINUTE

    drop = float((linear * DENSITY * flow + quadratic * (DENSITY * flow) ** 2)[0, 0])

    assert drop == pytest.approx(1.5e7 * flow + 1.26e12 * flow**2, rel=1e-12)


@pytest.mark.parametrize(
    ("thicker", "denser", "expected"), [(2.0, 1.0, [2.0, 1.0]), (1.0, 1.1, [1.0, 1.1])]
)
def test_a_measured_part_with_another_coolant(
    thicker: float, denser: float, expected: list[float]
) -> None:
    """At equal volume flow the linear part follows viscosity and the quadratic one density."""
    part = components([Branch(0, 1, [Part()])])
    state = everywhere(1, thicker * VISCOSITY, denser * DENSITY)
    mass_flow = 5.0 * LITRE_PER_MINUTE * state.density[0, 0]

    linear, quadratic = component_terms(part, state)

    flow = 5.0 * LITRE_PER_MINUTE
    assert float(linear[0, 0]) * mass_flow == pytest.approx(expected[0] * 1.5e7 * flow, rel=1e-12)
    assert float(quadratic[0, 0]) * mass_flow**2 == pytest.approx(
        expected[1] * 1.26e12 * flow**2, rel=1e-12
    )


@ROUGH
@given(
    tubes=st.lists(TUBES, min_size=1, max_size=4),
    flow=FLOWS.filter(lambda flow: abs(flow) > 1e-3),
    pumped=st.floats(1e-3, 0.3),
    ratio=st.floats(0.2, 1.2),
)
def test_slopes_are_central_differences(
    tubes: list[Tube], flow: float, pumped: float, ratio: float
) -> None:
    """The slopes of branch and pump are those of finite differences of their drops."""
    layout = loop([Branch(1, 0, [*tubes, Part()])], [Pump(parabola())])
    links = law(layout, filled(layout), ratio)
    here = np.array([[flow], [pumped]])
    step = 1e-5 * here

    drop, slope = links(here)
    numeric = (links(here + step)[0] - links(here - step)[0]) / (2.0 * step)

    np.testing.assert_allclose(slope, numeric, rtol=1e-5, atol=1e-9 * np.abs(drop).max() / 1e-5)
    assert (slope > 0.0).all()


def test_no_slope_is_zero() -> None:
    """An empty branch and a pump at the top of its parabola still have a slope to divide by."""
    layout = loop([Branch(1, 0)], [Pump(parabola())])

    drop, slope = law(layout, filled(layout))(np.zeros((2, 1)))

    assert drop[0, 0] == 0.0
    assert (slope >= 1.0).all()


def test_gain_is_head_times_weight() -> None:
    """A head of 3 m at 6 L/min is a pressure in proportion to the density."""
    flow = 6.0 * LITRE_PER_MINUTE
    curve = falling_curve([0.0, flow, 2.0 * flow], [4.0, 3.0, 0.5])
    liquid = everywhere(1, VISCOSITY, np.array([900.0, 1100.0]))

    gain, slope = pump_gain((curve,), liquid, flow * liquid.density, np.ones((1, 2)))

    np.testing.assert_allclose(gain[0], 3.0 * GRAVITY * np.array([900.0, 1100.0]), rtol=1e-12)
    assert (slope < 0.0).all()


def test_only_passages_with_a_length_rub() -> None:
    """A fitting without a length has no part in friction; a loop of fittings has none at all."""
    layout = loop([Branch(1, 0, [Tube(0.0, inertial=5.0), Tube(1.0)])], [Pump(parabola())])
    fittings = loop([Branch(1, 0, [Tube(0.0, inertial=5.0)])], [Pump(parabola())])
    area = math.pi * 0.010**2 / 4.0

    drop, _ = law(fittings, filled(fittings))(np.array([[0.1], [0.1]]))

    assert layout.passages.rubbing.tolist() == [1]
    assert drop[0, 0] == pytest.approx(5.0 * 0.1**2 / (2.0 * DENSITY * area**2), rel=1e-12)


def test_batch_of_flows_is_one_law() -> None:
    """The law of a batch is the laws of its cases, to the last digits."""
    layout = loop([Branch(1, 0, [Tube(1.0, viscous=300.0), Part()])], [Pump(parabola())])
    speed = np.array([[0.4, 1.0, 1.1]])
    viscosity = np.array([2e-3, 1e-3, 6e-4])
    at = np.array([[-0.02, 1e-5, 0.2], [-0.01, 0.05, 0.3]])

    together = law(layout, filled(layout, viscosity), speed)(at)
    apart = [
        law(layout, filled(layout, viscosity[case]), speed[:, [case]])(at[:, [case]])
        for case in range(3)
    ]

    np.testing.assert_allclose(together, np.concatenate(apart, axis=-1), rtol=1e-13)


@ROUGH
@given(tubes=st.lists(TUBES, min_size=1, max_size=4), flow=FLOWS, data=st.data())
def test_a_branch_adds_up_what_is_in_it(
    tubes: list[Tube], flow: float, data: st.DataObject
) -> None:
    """Over two branches, the drop of each is the sum of its own tubes and parts."""
    cut = data.draw(st.integers(0, len(tubes)))
    branches = [Branch(1, 2, [*tubes[:cut], Part()]), Branch(2, 0, tubes[cut:])]
    layout = loop(branches, [Pump(parabola())])

    drop, _ = law(layout, filled(layout))(np.array([[flow], [-flow], [0.1]]))

    first = sum(darcy_weisbach(tube, flow, DENSITY, VISCOSITY) for tube in tubes[:cut])
    volume = flow / DENSITY
    first += 1.5e7 * volume + 1.26e12 * volume * abs(volume)
    second = sum(darcy_weisbach(tube, -flow, DENSITY, VISCOSITY) for tube in tubes[cut:])
    np.testing.assert_allclose(drop[:2, 0], [first, second], rtol=1e-9)


def test_one_row_of_coolant_stands_for_all_places() -> None:
    """Properties with one row, for all passages and parts alike, give what full arrays give."""
    layout = loop([Branch(1, 0, [Tube(1.0), Tube(0.5), Part(), Part()])], [Pump(parabola())])
    row = everywhere(1, np.array([1e-3, 2e-3]))

    flow, still = np.array([[0.03, 0.1]]), ImposedFlow(np.zeros((0, 2)))
    short, whole = (
        LoopLaw(loop_terms(layout, liquid), still)(flow)
        for liquid in (Liquid(row, row, row), filled(layout, np.array([1e-3, 2e-3])))
    )

    np.testing.assert_allclose(short, whole, rtol=1e-14)


def test_an_imposed_flow_is_met() -> None:
    """Pumps that give whatever it takes carry the flow that is wanted, through any branch."""
    layout = loop([Branch(1, 0, [Tube(1.0), Part()])], [Pump(parabola())])
    wanted = np.array([[0.01, 0.1, 0.3]])
    liquid = filled(layout, np.full(3, VISCOSITY))
    tube = Tube(1.0)

    links = LoopLaw(loop_terms(layout, liquid), ImposedFlow(wanted))
    found = solve(layout.topology, links, np.repeat(wanted, 2, axis=0))

    volume = wanted[0] / DENSITY
    lost = 1.5e7 * volume + 1.26e12 * volume**2
    lost += [darcy_weisbach(tube, flow, DENSITY, VISCOSITY) for flow in wanted[0].tolist()]
    np.testing.assert_allclose(found.flow, np.repeat(wanted, 2, axis=0), rtol=1e-8)
    np.testing.assert_allclose(found.pressure[1], lost, rtol=1e-7)


def test_imposed_flows_that_settle_one_by_one() -> None:
    """Beside a flow that is met at once, one that begins far off takes its own iterations."""
    layout = loop([Branch(1, 0, [Tube(1.0), Part()])], [Pump(parabola())])
    wanted, start = np.array([[0.05, 0.2]]), np.array([[0.05, 3.0], [0.05, -1.0]])
    links = LoopLaw(loop_terms(layout, filled(layout)), ImposedFlow(wanted))

    found = solve(layout.topology, links, start)

    assert found.iterations[0] < found.iterations[1]
    np.testing.assert_allclose(found.flow, np.repeat(wanted, 2, axis=0), rtol=1e-8)


def lost(layout: Loop, factors: LoopFactors, flow: Array) -> tuple[Array, Array]:
    """Give drop and slope of a loop at wanted flows, off its laws by some factors."""
    terms = loop_terms(layout, filled(layout, np.array([1e-3, 2e-3])), factors)
    return LoopLaw(terms, ImposedFlow(np.zeros((1, 2))))(flow)


def test_everything_lost_may_be_multiplied() -> None:
    """With friction, fittings and parts times k a branch loses k times as much, case by case."""
    layout = loop(
        [Branch(1, 0, [Tube(1.0, viscous=300.0, inertial=4.0), Part()])], [Pump(parabola())]
    )
    factor, flow = np.array([0.7, 1.3]), np.array([[0.1, 0.05], [0.0, 0.0]])

    drop, slope = lost(layout, LoopFactors(), flow)
    factors = LoopFactors(friction=factor, fittings=factor, parts=factor)
    more, steeper = lost(layout, factors, flow)

    np.testing.assert_allclose(more[0], factor * drop[0], rtol=1e-12)
    np.testing.assert_allclose(steeper[0], factor * slope[0], rtol=1e-12)


def test_friction_may_be_off_by_another_factor_in_each_tube() -> None:
    """Tubes alike, with a factor each, lose what they lose one by one, case by case."""
    tubes = [Tube(1.0), Tube(0.5), Tube(0.7, 0.008)]
    factor = np.array([[0.8, 1.1], [1.2, 0.9], [1.3, 1.0]])
    flow = np.array([[0.1, 0.05], [0.0, 0.0]])

    together = lost(
        loop([Branch(1, 0, tubes)], [Pump(parabola())]), LoopFactors(friction=factor), flow
    )

    alone = [
        lost(loop([Branch(1, 0, [tube])], [Pump(parabola())]), LoopFactors(friction=row), flow)
        for tube, row in zip(tubes, factor, strict=True)
    ]
    np.testing.assert_allclose(together[0][0], sum(one[0][0] for one in alone), rtol=1e-12)
    np.testing.assert_allclose(together[1][0], sum(one[1][0] for one in alone), rtol=1e-12)


@pytest.mark.parametrize("name", ["friction", "fittings", "parts"])
def test_each_factor_has_its_own_share(name: str) -> None:
    """What the three factors add, each alone, is what they add together."""
    layout = loop(
        [Branch(1, 0, [Tube(1.0, viscous=300.0, inertial=4.0), Part()])], [Pump(parabola())]
    )
    flow, names = np.array([[0.1, 0.05], [0.0, 0.0]]), ("friction", "fittings", "parts")
    plain = lost(layout, LoopFactors(), flow)[0][0]

    added = {one: lost(layout, LoopFactors(**{one: 2.0}), flow)[0][0] - plain for one in names}

    np.testing.assert_allclose(sum(added.values()), plain, rtol=1e-12)
    assert (added[name] > 0.0).all()


def test_a_factor_on_the_bore_is_a_wider_tube() -> None:
    """Smooth tubes of 1.05 times the bore and equal length lose what the factor says."""
    flow = np.array([[0.1, 0.05], [0.0, 0.0]])
    plain, wide = (
        loop(
            [Branch(1, 0, [Tube(1.0, bore, roughness=0.0, viscous=300.0, inertial=4.0)])],
            [Pump(parabola())],
        )
        for bore in (0.01, 0.0105)
    )

    by_factor = lost(plain, LoopFactors(bore=1.05), flow)
    by_tube = lost(wide, LoopFactors(), flow)

    np.testing.assert_allclose(by_factor[0][0], by_tube[0][0], rtol=1e-12)
    np.testing.assert_allclose(by_factor[1][0], by_tube[1][0], rtol=1e-12)
