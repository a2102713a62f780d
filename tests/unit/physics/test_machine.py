"""The whole machine: its balances, an independent solution, its limits and its flags."""

import ht
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import brentq

from loopmargin_service.physics import air, coolant, machine, rated_radiator
from loopmargin_service.physics.air_path import CASE
from loopmargin_service.physics.machine import Equilibrium, Machine, Setting
from tests.unit.physics.bench_air import CORE, FACE, case_fan, opening, rated
from tests.unit.physics.bench_loop import (
    DENSITY,
    VISCOSITY,
    Part,
    Pump,
    Tube,
    darcy_weisbach,
    parabola,
)
from tests.unit.physics.bench_machine import (
    ROOM_TEMPERATURE,
    Block,
    Branch,
    Plan,
    Radiator,
    build,
    one_loop,
    plans,
    setting,
    settled,
)

ROUGH = settings(deadline=None, max_examples=20)
SIMPLE = one_loop(Tube(0.5), Block(300.0), Tube(0.7), Radiator())


def shed(built: Machine, given_setting: Setting, state: Equilibrium, case: int = 0) -> list[float]:
    """Give the heat of each radiator from its inlets, written out."""
    heats = []
    for branch, elements in enumerate(built.heat.elements):
        backwards = int(state.flows.flow[branch, case] < 0.0)
        for place, element in enumerate(elements):
            if not element.is_block:
                path = built.paths[element.index]
                forwards = state.air_flows.flow[element.index, case] >= 0.0
                warmed = (path.tail if forwards else path.head) == CASE
                before = state.temperatures.case if warmed else given_setting.room_temperature
                inlet = state.temperatures.profiles[branch][place + backwards, case]
                heats.append(float(state.conductance[element.index, case] * (inlet - before[case])))
    return heats


@ROUGH
@given(plan=plans(), heat=st.floats(0.0, 200.0), motor=st.floats(0.0, 20.0))
def test_heat_that_comes_in_goes_out(plan: Plan, heat: float, motor: float) -> None:
    """Blocks and pumps give what radiators shed; the case air takes up what it is given."""
    built, given_setting = build(plan), setting(plan, case_heat=heat, pump_heat=motor)

    state = machine.solve(built, given_setting)

    assert state.converged.all()
    heats = shed(built, given_setting, state)
    brought = float(given_setting.block_heat.sum() + state.pump_heat.sum())
    assert sum(heats) == pytest.approx(brought, rel=1e-6, abs=1e-5)
    into = np.array(
        [
            flow * (1.0 if path.head == CASE else -1.0) * (CASE in (path.tail, path.head))
            for flow, path in zip(state.air_flows.flow[:, 0], built.paths, strict=True)
        ]
    )
    feeding = sum(given_heat for given_heat, flow in zip(heats, into, strict=False) if flow > 0.0)
    taken = np.maximum(into, 0.0).sum() * air.HEAT_CAPACITY
    rise = float(state.temperatures.case[0]) - ROOM_TEMPERATURE
    assert taken * rise == pytest.approx(heat + feeding, rel=1e-6, abs=1e-4)


@ROUGH
@given(plan=plans())
def test_mass_is_conserved(plan: Plan) -> None:
    """What enters each node of the loop and of the air leaves it."""
    built, state = build(plan), settled(plan)

    for topology, flows in (
        (built.loop.topology, state.flows),
        (built.air_topology, state.air_flows),
    ):
        net = np.zeros(topology.node_count)
        np.add.at(net, list(topology.head), flows.flow[:, 0])
        np.subtract.at(net, list(topology.tail), flows.flow[:, 0])
        assert np.abs(net).max() <= 1e-9 * np.abs(flows.flow).max()


def by_hand(tubes: tuple[Tube, Tube], heat: float, motor: float) -> tuple[list[float], float]:
    """Solve the simple machine by plain substitution: rises along the branch [K], flow [kg/s].

    Root finders for the flows, ht 1.2.0 for the radiator, local properties as documented.
    """
    profile = [ROOM_TEMPERATURE] * 3
    density = float(air.density(101325.0, ROOM_TEMPERATURE))
    for _ in range(30):
        before, hot, after = profile
        places = np.array([before, hot, 0.5 * (before + hot), 0.5 * (hot + after), after])
        water = coolant.properties("water", 0.0, places)
        rho, mu = water.density, water.viscosity

        def excess(flow: float, rho: np.ndarray = rho, mu: np.ndarray = mu) -> float:
            head = 4.0 - 4.0 * (flow / rho[4] / (15e-3 / 60.0)) ** 2
            lost = [darcy_weisbach(tubes[i], flow, rho[i], mu[i]) for i in range(2)]
            for place, part in ((2, Block().part), (3, Radiator().part)):
                volume = flow / rho[place]
                lost.append(part.linear * mu[place] / VISCOSITY * volume)
                lost.append(part.quadratic * rho[place] / DENSITY * volume**2)
            return float(rho[4] * 9.80665 * head - sum(lost))

        flow = brentq(excess, 1e-6, 0.3, xtol=1e-14)
        capacity = flow * float(coolant.properties("water", 0.0, np.mean(profile)).heat_capacity)
        blown = brentq(lambda w: fan_less_core(w, density), 1e-6, 0.05, xtol=1e-14)
        ua = rated_radiator.scaled_ua(
            rated().rating, rated().rated_ua, blown, flow, water.conductivity[3] / 0.6
        )
        rates = blown * air.HEAT_CAPACITY, capacity
        effectiveness = ht.effectiveness_from_NTU(  # type: ignore[no-untyped-call]
            float(ua) / min(rates), min(rates) / max(rates), "crossflow"
        )
        hot = ROOM_TEMPERATURE + (heat + motor) / (effectiveness * min(rates))
        after = hot - (heat + motor) / capacity
        profile = [after + motor / capacity, hot, after]
    return [value - ROOM_TEMPERATURE for value in profile], flow


def fan_less_core(flow: float, density: float) -> float:
    """Give the pressure of the fan less that of the core at a mass flow of air. [Pa]"""
    volume = flow / density
    pressure = 30.0 * density / 1.204 * (1.0 - (volume * 3600.0 / 110.0) ** 2)
    thicker = float(air.viscosity(ROOM_TEMPERATURE) / air.viscosity(293.15))
    velocity = volume / FACE
    return pressure - 6.0 * thicker * velocity - 9.0 * density / 1.204 * velocity**2


@pytest.mark.parametrize(("heat", "motor"), [(300.0, 6.0), (900.0, 20.0), (50.0, 8.0)])
def test_one_loop_equals_plain_substitution(heat: float, motor: float) -> None:
    """Flow, air and heat of one loop are those of an independent solution, to 1 mK."""
    tubes = Tube(0.5), Tube(0.7)
    expected, flow = by_hand(tubes, heat, motor)

    state = settled(one_loop(tubes[0], Block(heat), tubes[1], Radiator()), pump_heat=motor)

    assert (state.stacked[:, 0] - ROOM_TEMPERATURE).tolist() == pytest.approx(expected, abs=1e-3)
    assert float(state.flows.flow[0, 0]) == pytest.approx(flow, rel=1e-5)


def test_hydraulic_work_is_the_least_heat_of_a_pump() -> None:
    """A motor said to give nothing still leaves its work in the loop, a strong one its own."""
    weak, strong = settled(SIMPLE, pump_heat=0.0), settled(SIMPLE, pump_heat=40.0)

    gain = float(weak.flows.pressure[1, 0] - weak.flows.pressure[0, 0])
    work = gain * float(weak.flows.flow[1, 0] / weak.liquid.pumps.density[0, 0])
    assert float(weak.pump_heat[0, 0]) == pytest.approx(work, rel=1e-9)
    assert work > 0.1
    assert strong.pump_heat.tolist() == [[40.0]]


def test_without_heat_everything_is_at_room_temperature() -> None:
    """Nothing but the work of the pump warms an idle machine, by less than 0.5 K."""
    state = settled(one_loop(Block(0.0), Radiator()), pump_heat=0.0, case_heat=0.0)

    rises = state.stacked[:, 0] - ROOM_TEMPERATURE
    assert (rises > 0.0).all()
    assert rises.max() < 0.5


@ROUGH
@given(plan=plans(), data=st.data())
def test_a_batch_equals_single_machines(plan: Plan, data: st.DataObject) -> None:
    """Three settings at once are the settings one by one, to the tolerance of the repetition."""
    speeds = st.lists(st.floats(0.6, 1.1), min_size=3, max_size=3).map(np.array)
    fans, pumps = data.draw(speeds), data.draw(speeds)
    rooms = np.array([288.15, 298.15, 308.15])

    together = settled(plan, 3, fan_ratio=fans, pump_ratio=pumps, room_temperature=rooms)

    for case in range(3):
        alone = settled(
            plan, fan_ratio=fans[case], pump_ratio=pumps[case], room_temperature=rooms[case]
        )
        np.testing.assert_allclose(together.stacked[:, case], alone.stacked[:, 0], atol=1e-3)
        np.testing.assert_allclose(
            together.flows.flow[:, case], alone.flows.flow[:, 0], rtol=1e-4, atol=1e-6
        )


@pytest.mark.parametrize(
    ("name", "value"),
    [("START_RISE", 0.0), ("START_RISE", 50.0), ("START_FLOW", 0.5), ("START_AIR_FLOW", -0.02)],
)
def test_the_start_does_not_matter(
    name: str, value: float, monkeypatch: pytest.MonkeyPatch
) -> None:
    """From a cold or hot machine, from fast coolant or reversed air, the end is the same."""
    plan = one_loop(
        Tube(1.0),
        Block(300.0),
        Radiator(way="intake"),
        Radiator(CORE, "exhaust"),
        paths=[opening(), case_fan()],
    )
    expected = settled(plan).stacked

    monkeypatch.setattr(machine, name, value)

    np.testing.assert_allclose(settled(plan).stacked, expected, atol=1e-3)


def test_what_has_not_settled_is_flagged(monkeypatch: pytest.MonkeyPatch) -> None:
    """Stopped after one repetition a machine says that it has not settled, and by how much."""
    monkeypatch.setattr(machine, "ITERATION_LIMIT", 1)

    state = machine.solve(build(SIMPLE), setting(SIMPLE))

    assert not state.converged.any()
    assert state.iterations == 1
    assert state.change[0] > machine.TOLERANCE


def test_a_machine_with_hardly_any_air_runs_away_finitely() -> None:
    """With its fan at a hundredth of its speed, a machine settles at an absurd temperature."""
    state = settled(SIMPLE, fan_ratio=0.01)

    assert np.isfinite(state.stacked).all()
    assert state.stacked.min() > 1000.0


def test_a_frozen_room_is_finite() -> None:
    """Water below freezing is taken at half a kelvin above it, and the answer is finite."""
    state = settled(SIMPLE, room_temperature=250.0)

    water = coolant.properties("water", 0.0, np.array([273.65]))
    assert np.isfinite(state.stacked).all()
    assert state.stacked.max() < 273.15
    assert float(state.liquid.pumps.viscosity[0, 0]) == pytest.approx(float(water.viscosity[0]))


def test_coldest_is_above_freezing() -> None:
    """Half a kelvin above the freezing point of the mix, far lower with glycol."""
    mix = build(SIMPLE._replace(fluid="ethylene_glycol", mass_fraction=0.3))

    freezing = float(coolant.freezing_temperature("ethylene_glycol", 0.3))
    assert mix.coldest == pytest.approx(freezing + 0.5)
    assert build(SIMPLE).coldest == pytest.approx(273.65)


def test_properties_are_local() -> None:
    """Each passage, part and pump has the coolant of its own place."""
    state = settled(
        SIMPLE._replace(branches=[Branch(1, 0, [*SIMPLE.branches[0].elements, Part()])])
    )
    before, hot, after = state.stacked[:, 0]
    places = np.array([before, hot, 0.5 * (before + hot), 0.5 * (hot + after), after, after])

    expected = coolant.properties("water", 0.0, places).viscosity

    found = np.concatenate([part.viscosity[:, 0] for part in state.liquid])
    np.testing.assert_allclose(found, expected, rtol=1e-6)


def test_two_pumps_each_give_their_heat() -> None:
    """Pumps in series warm the coolant each in its place, by its own motor."""
    plan = Plan(
        [Branch(1, 0, [Block(200.0), Radiator()])], [Pump(parabola(), 0, 2), Pump(parabola(), 2, 1)]
    )

    state = settled(plan, pump_heat=np.array([[10.0], [25.0]]))

    capacity = state.flows.flow[0, 0] * 4180.0
    first, second = np.diff(state.temperatures.nodes[[0, 2, 1], 0]) * capacity
    assert first == pytest.approx(10.0, rel=2e-3)
    assert second == pytest.approx(25.0, rel=2e-3)
