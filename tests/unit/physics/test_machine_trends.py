"""The whole machine: what cools it, what warms it, and where that turns round."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from loopmargin_service.physics.machine import PROPERTY_LIMIT
from loopmargin_service.physics.radiator import CoreSection
from tests.unit.physics.bench_air import CORE, case_fan, fan, opening, rated
from tests.unit.physics.bench_loop import Pump, Tube, parabola
from tests.unit.physics.bench_machine import (
    ROOM_TEMPERATURE,
    Block,
    Branch,
    Element,
    Plan,
    Radiator,
    one_loop,
    plans,
    settled,
)
from tests.unit.physics.core_examples import COMMON

ROUGH = settings(deadline=None, max_examples=20)
# Twice what is left of a temperature when the repetition stops.
SETTLED = 1e-3
SPEEDS = st.floats(0.5, 1.2)


def hottest(plan: Plan, **changes: float) -> float:
    """Give the hottest coolant over a room of 25 degC. [K]"""
    return float(settled(plan, 1, **changes).stacked.max()) - ROOM_TEMPERATURE


def spread(*elements: Block | Radiator) -> float:
    """Give the hottest less the coldest coolant of one loop, times the flow. [K kg/s]"""
    state = settled(one_loop(*elements))
    return float(np.ptp(state.stacked) * state.flows.flow[0, 0])


@ROUGH
@given(heats=st.permutations([50.0, 120.0, 300.0]), at=st.integers(0, 3))
def test_the_order_of_blocks_does_not_matter(heats: list[float], at: int) -> None:
    """At equal flow, with one radiator, the coolant spans total heat over capacity rate.

    To 0.01 %: the heat capacity is taken at the mean along the loop, which shifts a little.
    """
    blocks = [Block(heat) for heat in heats]

    found = spread(*blocks[:at], Radiator(), *blocks[at:])

    assert found == pytest.approx(spread(*map(Block, (300.0, 120.0, 50.0)), Radiator()), rel=1e-4)


def test_the_order_of_radiators_and_blocks_does_matter() -> None:
    """With a radiator behind each block the span is smaller than with both at the end."""
    blocks, radiators = [Block(300.0), Block(300.0)], [Radiator(), Radiator()]

    together = spread(*blocks, *radiators)

    assert spread(blocks[0], radiators[0], blocks[1], radiators[1]) < 0.7 * together


@ROUGH
@given(plan=plans(), slow=SPEEDS, more=st.floats(1.0, 1.5))
def test_faster_fans_never_warm(plan: Plan, slow: float, more: float) -> None:
    """With all fans faster together neither the hottest coolant nor the case gets warmer."""
    before, after = settled(plan, fan_ratio=slow), settled(plan, fan_ratio=slow * more)

    assert after.stacked.max() <= before.stacked.max() + SETTLED
    assert after.temperatures.case[0] <= before.temperatures.case[0] + SETTLED


def test_one_faster_fan_may_warm() -> None:
    """A faster intake fan raises the pressure of a tight case, against the fan of a radiator."""
    plan = one_loop(Block(300.0), Radiator(way="intake"), paths=[opening(0.001), case_fan()])

    slow, fast = (settled(plan, fan_ratio=np.array([[1.0], [1.0], [r]])) for r in (0.5, 1.2))

    assert fast.air_flows.flow[0, 0] < slow.air_flows.flow[0, 0]
    assert fast.stacked.max() > slow.stacked.max() + 0.5


@ROUGH
@given(slow=SPEEDS, more=st.floats(1.0, 1.5), section=st.sampled_from([rated(), CORE]))
def test_a_faster_pump_never_warms_the_hottest(
    slow: float, more: float, section: CoreSection
) -> None:
    """At equal pump heat more coolant flow never raises the hottest coolant."""
    plan = one_loop(Tube(1.0), Block(400.0), Radiator(section))

    before, after = (settled(plan, pump_ratio=r, pump_heat=30.0) for r in (slow, slow * more))

    # A ratio of nearly one leaves the two flows equal to the last digit, either way.
    assert after.flows.flow[0, 0] >= before.flows.flow[0, 0] * (1.0 - 1e-12)
    assert after.stacked.max() <= before.stacked.max() + SETTLED


def test_a_faster_pump_may_warm_by_its_own_work() -> None:
    """Where there is little other heat, the work of a strong pump outweighs its flow."""
    plan = one_loop(Block(1.0), Radiator(), pumps=[Pump(parabola(7.0, 25.0))])

    assert hottest(plan, pump_ratio=1.0, pump_heat=0.0) > 3.0 * hottest(
        plan, pump_ratio=0.5, pump_heat=0.0
    )


@pytest.mark.parametrize("pressure", [30.0, 80.0])
def test_a_deeper_radiator_cools_under_a_strong_fan(pressure: float) -> None:
    """With pressure to spare, half as much depth again lowers the coolant."""
    deep = CoreSection(replace(COMMON, depth=0.045), 0.85)
    shallow, deeper = (
        one_loop(Block(400.0), Radiator(section, curve=fan(pressure, 110.0), fans=2))
        for section in (CORE, deep)
    )

    assert hottest(deeper) < hottest(shallow)


def test_a_radiator_may_be_too_deep_for_its_fan() -> None:
    """Under a slow fan, four times the depth costs more air than it gains surface."""
    deep = CoreSection(replace(COMMON, depth=0.12), 0.85)
    shallow, deeper = (
        one_loop(Block(200.0), Radiator(section, curve=fan(30.0, 110.0), fans=2))
        for section in (CORE, deep)
    )

    assert hottest(deeper, fan_ratio=0.3) > hottest(shallow, fan_ratio=0.3)


def _scaled(element: Element, factor: float) -> Element:
    if isinstance(element, Radiator):
        return element._replace(way="outside")
    return element._replace(heat=factor * element.heat) if isinstance(element, Block) else element


@ROUGH
@given(plan=plans(), factor=st.floats(0.1, 3.0))
def test_rises_are_in_proportion_once_properties_stand_still(plan: Plan, factor: float) -> None:
    """In a room at the limit of the properties, all air outside, k times heat is k times rise."""
    plans_of_both = [
        plan._replace(
            branches=[
                Branch(tail, head, [_scaled(item, heat) for item in elements])
                for tail, head, elements in plan.branches
            ]
        )
        for heat in (1.0, factor)
    ]
    room = PROPERTY_LIMIT + 0.1
    states = [
        settled(outside, room_temperature=room, pump_heat=40.0 * heat)
        for outside, heat in zip(plans_of_both, (1.0, factor), strict=True)
    ]

    first, second = (state.stacked[:, 0] - room for state in states)
    np.testing.assert_allclose(second, factor * first, rtol=1e-4, atol=SETTLED)


def test_twice_the_heat_is_about_twice_the_rise() -> None:
    """With properties that follow the temperature the rise doubles to 2 %, from below."""
    one, two = (
        hottest(one_loop(Tube(1.0), Block(heat), Radiator(CORE)), pump_heat=heat / 50.0)
        for heat in (250.0, 500.0)
    )

    assert 1.96 * one < two < 2.0 * one


@ROUGH
@given(plan=plans(), heat=st.floats(0.0, 100.0), more=st.floats(1.0, 200.0))
def test_more_heat_in_the_case_never_cools(plan: Plan, heat: float, more: float) -> None:
    """More heat in the case air warms the case, and never cools the coolant."""
    before, after = settled(plan, case_heat=heat), settled(plan, case_heat=heat + more)

    assert after.temperatures.case[0] > before.temperatures.case[0]
    assert after.stacked.max() >= before.stacked.max() - SETTLED


def test_the_way_of_the_air_counts() -> None:
    """Behind a warm case the coolant is warmer than in the room; before it, the case is."""
    states = {
        way: settled(
            one_loop(Block(300.0), Radiator(way=way), paths=[opening(0.1), case_fan()]),
            case_heat=150.0,
        )
        for way in ("outside", "intake", "exhaust")
    }
    coolant = {way: float(state.stacked.max()) for way, state in states.items()}
    case = {way: float(state.temperatures.case[0]) for way, state in states.items()}

    assert coolant["exhaust"] > coolant["outside"] + 2.0
    assert case["intake"] > case["outside"] + 2.0
    assert coolant["intake"] == pytest.approx(coolant["outside"], abs=0.5)


def test_air_through_a_radiator_may_turn_back() -> None:
    """Its weak fan overcome, an exhaust radiator draws room air in and warms the case."""
    weak = Radiator(way="exhaust", curve=fan(2.0, 40.0))
    strong = case_fan(1, 0, fan(60.0, 150.0))
    plan = one_loop(Block(100.0), weak, paths=[strong, opening(0.0005)])

    state = settled(plan, case_heat=20.0)

    assert state.air_flows.flow[0, 0] < 0.0
    air = -state.air_flows.flow[0, 0] + state.air_flows.flow[2, 0]
    rise = float(state.temperatures.case[0]) - ROOM_TEMPERATURE
    assert air * 1006.5 * rise == pytest.approx(126.0, rel=1e-4)
    assert state.air_temperature[0, 0] == ROOM_TEMPERATURE


@pytest.mark.parametrize("name", ["room_pressure", "fluid"])
def test_thin_air_and_glycol_warm(name: str) -> None:
    """2000 m up, or with a third of glycol, the same machine is warmer."""
    plan = one_loop(Tube(1.0), Block(300.0), Radiator(CORE))
    changed = plan._replace(fluid="propylene_glycol", mass_fraction=0.33)

    if name == "fluid":
        assert hottest(changed) > hottest(plan)
    else:
        assert hottest(plan, room_pressure=79495.0) > 1.05 * hottest(plan)


def test_a_warmer_room_warms_all() -> None:
    """Ten kelvin more in the room are about ten kelvin more in the coolant."""
    plan = one_loop(Tube(1.0), Block(300.0), Radiator(CORE))

    state = settled(plan, 2, room_temperature=np.array([295.15, 305.15]))

    np.testing.assert_allclose(np.diff(state.stacked), 10.0, atol=0.5)


def test_equal_branches_share_heat_and_flow() -> None:
    """Two equal branches side by side have equal flows and equal profiles."""
    branch = Branch(1, 2, [Tube(0.8), Block(150.0)])

    state = settled(Plan([branch, branch, Branch(2, 0, [Radiator()])]))

    assert state.flows.flow[0, 0] == pytest.approx(state.flows.flow[1, 0], rel=1e-10)
    first, second = state.temperatures.profiles[:2]
    np.testing.assert_allclose(first, second, rtol=1e-12)
