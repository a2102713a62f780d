"""Many cases of one machine: taken apart, put together, and off their laws by factors."""

import numpy as np
import pytest

from loopmargin_service.physics import machine
from loopmargin_service.physics.air import HEAT_CAPACITY
from loopmargin_service.physics.batch import cases_of
from loopmargin_service.physics.loop import LoopFactors
from loopmargin_service.physics.machine import AIR_LIMIT
from loopmargin_service.physics.radiator import CoreSection
from loopmargin_service.physics.sites import Place
from tests.unit.physics.bench_air import CORE, case_fan, fan, opening, rated
from tests.unit.physics.bench_loop import Part, Pump, Tube, parabola
from tests.unit.physics.bench_machine import (
    ROOM_TEMPERATURE,
    Block,
    Branch,
    Plan,
    Radiator,
    build,
    one_loop,
    setting,
    settled,
)

SIMPLE = one_loop(Tube(0.5), Block(300.0), Tube(0.7), Radiator())
# Air through the case both ways, warm coolant behind warm air: it takes its repetitions.
WOVEN = one_loop(
    Tube(1.0),
    Block(400.0),
    Radiator(CORE, "intake"),
    Block(200.0),
    Radiator(way="exhaust"),
    paths=[opening(0.002), case_fan(1, 0)],
)


@pytest.mark.parametrize(("plan", "most"), [(SIMPLE, 5), (WOVEN, 8)])
def test_machines_settle_in_a_few_repetitions(plan: Plan, most: int) -> None:
    """Plain repetition wins a digit or two each time, so that few are needed."""
    assert 2 <= settled(plan).iterations[0] <= most


def test_settled_cases_are_left_alone() -> None:
    """Cases that take more repetitions than their neighbours end where they do alone."""
    speeds = np.linspace(0.3, 1.2, 10)
    heats = np.concatenate([np.full(8, 20.0), [300.0, 900.0]])

    together = settled(WOVEN, 10, fan_ratio=speeds, case_heat=heats)

    alone = [
        settled(WOVEN, fan_ratio=speed, case_heat=heat)
        for speed, heat in zip(speeds, heats, strict=True)
    ]
    assert together.iterations.min() < together.iterations.max()
    for case, state in enumerate(alone):
        assert together.iterations[case] == state.iterations[0]
        np.testing.assert_array_equal(together.stacked[:, case], state.stacked[:, 0])


def test_cases_are_taken_out_of_every_array() -> None:
    """Chosen cases keep their order, their neighbours in tuples, and what is no array."""
    state = settled(SIMPLE, 4, fan_ratio=np.array([0.4, 0.6, 0.8, 1.0]))

    some = cases_of(state, np.array([3, 1]))

    np.testing.assert_array_equal(some.stacked, state.stacked[:, [3, 1]])
    np.testing.assert_array_equal(some.flows.flow, state.flows.flow[:, [3, 1]])
    np.testing.assert_array_equal(
        some.temperatures.profiles[0], state.temperatures.profiles[0][:, [3, 1]]
    )
    assert some.iterations.tolist() == state.iterations[[3, 1]].tolist()
    assert type(some) is type(state)


def test_numbers_stand_for_every_case() -> None:
    """A factor that is one number stays that number."""
    some = cases_of(setting(SIMPLE, 3), np.array([2]))

    assert some.ua_factor == 1.0
    assert some.room_temperature.shape == (1,)


def test_a_factor_on_the_walls_of_all_radiators() -> None:
    """With 0.8 and 1.25 times UA the machine is that with so much worse or better radiators."""
    plans = [
        one_loop(Block(300.0), Radiator(CoreSection(CORE.core, 0.85 * factor)))
        for factor in (0.8, 1.25)
    ]
    base = one_loop(Block(300.0), Radiator(CORE))

    given = setting(base, 2)._replace(ua_factor=np.array([[0.8, 1.25]]))
    found = machine.solve(build(base), given)

    assert found.converged.all()
    for case, plan in enumerate(plans):
        np.testing.assert_allclose(found.stacked[:, case], settled(plan).stacked[:, 0], atol=1e-3)


def test_a_factor_on_what_the_parts_lose() -> None:
    """With twice the drop of all parts the machine is that with parts which lose twice as much."""
    part, doubled = Part(5e6, 8e11), Part(1e7, 1.6e12)
    first, second = (one_loop(Block(300.0, loss), Radiator(part=loss)) for loss in (part, doubled))

    found = machine.solve(
        build(first), setting(first)._replace(loop_factors=LoopFactors(parts=2.0))
    )

    assert found.flows.flow[0, 0] == pytest.approx(settled(second).flows.flow[0, 0], rel=1e-6)
    assert found.flows.flow[0, 0] < 0.8 * settled(first).flows.flow[0, 0]


def test_work_is_of_the_gain_of_each_pump() -> None:
    """Of two pumps in series each warms by its own gain, though one stands on pressure."""
    pumps = [Pump(parabola(6.0), 0, 2), Pump(parabola(3.0), 2, 1)]
    plan = Plan([Branch(1, 0, [Block(100.0), Radiator()])], pumps)

    state = settled(plan, pump_heat=0.0)

    pressure, flow = state.flows.pressure[:, 0], state.flows.flow[1:, 0]
    gains = np.array([pressure[2] - pressure[0], pressure[1] - pressure[2]])
    expected = gains * flow / state.liquid.pumps.density[:, 0]
    np.testing.assert_allclose(state.pump_heat[:, 0], expected, rtol=1e-9)
    assert expected[0] > expected[1] > 0.0


def test_air_of_a_runaway_case_is_held() -> None:
    """The air that an exhaust radiator draws from a far too hot case is taken at the limit."""
    plan = one_loop(Block(50.0), Radiator(rated(), "exhaust"), paths=[opening(0.0001)])

    state = machine.solve(build(plan), setting(plan, case_heat=300.0, fan_ratio=0.5))

    assert state.temperatures.case[0] > AIR_LIMIT
    assert state.air_temperature[:, 0].tolist() == [AIR_LIMIT, ROOM_TEMPERATURE]


@pytest.mark.parametrize("ratio", [1.3, 1.44, 1.47])
def test_a_case_short_of_air_settles(ratio: float) -> None:
    """Where a weak exhaust fan nearly holds its own, heat and air of the case still agree."""
    fans = [case_fan(1, 0, fan(30.0, 110.0)), case_fan(1, 0, fan(10.0, 60.0))]
    plan = one_loop(Block(300.0), Radiator(), paths=[opening(0.0008, 2.5), *fans])
    speeds = np.array([[1.0], [1.0], [1.0], [ratio]])

    state = settled(plan, fan_ratio=speeds, case_heat=400.0)

    flow = state.air_flows.flow[:, 0]
    assert flow[3] < 0.0 < flow[2]
    assert flow[1] - flow[3] == pytest.approx(flow[2], rel=1e-9)
    rise = float(state.temperatures.case[0]) - ROOM_TEMPERATURE
    assert flow[2] * HEAT_CAPACITY * rise == pytest.approx(400.0, rel=1e-4)


def test_a_place_is_between_two_points() -> None:
    """Its temperature is the mean of what enters and what leaves."""
    place = Place(np.array([0, 2]), np.array([1, 2]))

    found = place.temperature(np.array([[300.0], [310.0], [320.0]]))

    assert found.tolist() == [[305.0], [320.0]]
