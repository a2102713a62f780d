"""A case ends in the same digits alone, among any neighbours, in any order and any chunk."""

from collections.abc import Iterator

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from loopmargin_service.physics import coolant, exchanger, machine, network
from loopmargin_service.physics.batch import cases_of
from loopmargin_service.physics.loop import LoopFactors
from loopmargin_service.physics.machine import Equilibrium, Machine, Setting
from loopmargin_service.physics.network import Array
from loopmargin_service.physics.rows import Grouping, row_mean, row_sum
from tests.unit.physics.bench_air import CORE, case_fan, opening
from tests.unit.physics.bench_loop import Pump, Tube, parabola
from tests.unit.physics.bench_machine import (
    Block,
    Branch,
    Plan,
    Radiator,
    build,
    one_loop,
    plans,
    setting,
)
from tests.unit.physics.plain_links import Network, networks

BATCH = 64
SIZES = (1, 2, 3, 7, 64)
FEW = settings(deadline=None, max_examples=12)
# Two pumps, one of them idle in some cases; air through the case both ways; nine tubes in a row.
WOVEN = Plan(
    [
        Branch(1, 2, [*[Tube(0.1, 0.008 + 0.0005 * n) for n in range(9)], Block(400.0)]),
        Branch(2, 0, [Radiator(CORE, "intake"), Tube(0.3)]),
        Branch(2, 0, [Block(100.0), Radiator(way="exhaust")]),
    ],
    pumps=[Pump(parabola()), Pump(parabola(2.5, 9.0))],
    paths=[opening(0.002), case_fan(1, 0)],
    fluid="propylene_glycol",
    mass_fraction=0.03,
)


def arrays(nest: object) -> Iterator[NDArray[np.generic]]:
    """List the arrays of nested tuples."""
    if isinstance(nest, np.ndarray):
        yield nest
    elif isinstance(nest, tuple):
        for part in nest:
            yield from arrays(part)


def assert_same(part: object, whole: object, cases: Array) -> None:
    """Insist that every array of a part is that of the whole at some cases, bit by bit."""
    for mine, all_of_them in zip(arrays(part), arrays(whole), strict=True):
        np.testing.assert_array_equal(mine, all_of_them[..., cases])


def chunks(order: Array, size: int) -> Iterator[Array]:
    """Cut cases into chunks."""
    return (order[start : start + size] for start in range(0, order.size, size))


def varied(plan: Plan, seed: int, batch: int = BATCH) -> Setting:
    """Set every case apart from its neighbours, some of them hopelessly."""
    random = np.random.default_rng(seed)
    return setting(
        plan,
        batch,
        pump_ratio=random.choice([0.0, 0.3, 0.7, 1.0, 1.4], (len(plan.pumps), batch)),
        fan_ratio=random.uniform(0.02, 1.3, batch),
        block_heat=random.uniform(0.0, 500.0, batch),
        case_heat=random.uniform(0.0, 300.0, batch),
        room_temperature=random.uniform(285.0, 315.0, batch),
    )._replace(
        ua_factor=random.uniform(0.8, 1.2, (len(build(plan).sections), batch)),
        loop_factors=LoopFactors(*random.uniform(0.9, 1.1, (4, batch))),
    )


def check(built: Machine, given: Setting, seed: int) -> Equilibrium:
    """Solve all cases together, and again in other orders and chunks."""
    together = machine.solve(built, given)
    order = np.random.default_rng(seed).permutation(given.room_temperature.size)
    for size in SIZES:
        for cases in chunks(order, size):
            assert_same(machine.solve(built, cases_of(given, cases)), together, cases)
    return together


@pytest.mark.parametrize("seed", range(2))
def test_a_machine_of_many_parts(seed: int) -> None:
    """Of a machine with everything in it, cases need few or many repetitions, and do not mix."""
    state = check(build(WOVEN), varied(WOVEN, seed), seed)

    assert np.unique(state.iterations).size > 2


@FEW
@given(plan=plans(), seed=st.integers(0, 2**32 - 1))
def test_any_machine(plan: Plan, seed: int) -> None:
    """Any machine solves its cases as it does each alone."""
    given_cases = varied(plan, seed, 12)
    together = machine.solve(build(plan), given_cases)
    order = np.random.default_rng(seed).permutation(12)

    for size in (1, 5):
        for cases in chunks(order, size):
            assert_same(machine.solve(build(plan), cases_of(given_cases, cases)), together, cases)


def test_a_thousand_cases_are_a_thousand_single_ones() -> None:
    """A batch that other loops of the library go through has the digits of single cases."""
    plan = one_loop(Tube(0.5), Block(300.0), Tube(0.7), Radiator(CORE), Tube(0.2, 0.008))
    given_cases, built = varied(plan, 5, 1000), build(plan)
    together = machine.solve(built, given_cases)

    for cases in (np.array([case]) for case in range(0, 1000, 41)):
        assert_same(machine.solve(built, cases_of(given_cases, cases)), together, cases)


@FEW
@given(drawn=networks(cases=BATCH), seed=st.integers(0, 2**32 - 1))
def test_any_network(drawn: Network, seed: int) -> None:
    """Flows, pressures, residuals and counts of a network are each case's own."""
    random = np.random.default_rng(seed)
    start = random.uniform(-5.0, 5.0, drawn.links.linear.shape)
    together = network.solve(drawn.topology, drawn.links, start)
    order = random.permutation(BATCH)

    for size in SIZES:
        for cases in chunks(order, size):
            alone = network.solve(drawn.topology, drawn.links.cases(cases), start[:, cases])
            assert_same(alone, together, cases)


def test_transfer_units_of_every_class() -> None:
    """Effectiveness and its inverse are summed over as many terms among others as alone."""
    random = np.random.default_rng(3)
    ntu = np.append(10.0 ** random.uniform(-3.0, 1.7, 200), np.nan)
    ratio = np.append(random.uniform(0.0, 1.0, 200), 0.5)
    value = exchanger.effectiveness_crossflow_unmixed(ntu, ratio)
    back = exchanger.ntu_crossflow_unmixed(value, ratio)

    for case in range(ntu.size):
        one = slice(case, case + 1)
        alone = exchanger.effectiveness_crossflow_unmixed(ntu[one], ratio[one])
        np.testing.assert_array_equal(alone, value[one])
        np.testing.assert_array_equal(exchanger.ntu_crossflow_unmixed(alone, ratio[one]), back[one])


@pytest.mark.parametrize("fluid_and_share", [("water", 0.0), ("ethylene_glycol", 0.3)])
def test_properties_of_many_temperatures(fluid_and_share: tuple[coolant.Fluid, float]) -> None:
    """A temperature has the same properties alone and in a table of more than a tile."""
    warm = np.random.default_rng(4).uniform(270.0, 380.0, (3, 700))
    table = coolant.properties(*fluid_and_share, warm)

    for row, case in ((0, 0), (1, 511), (2, 512), (2, 699)):
        alone = coolant.properties(*fluid_and_share, warm[row, case : case + 1])
        assert_same(alone, tuple(part[row] for part in table), np.array([case]))


@pytest.mark.parametrize("count", [1, 2, 3, 8, 9, 40])
def test_rows_are_added_in_one_order(count: int) -> None:
    """Sums over rows, whole or by groups, keep the digits of a single case."""
    rows = np.random.default_rng(count).normal(size=(count, 300)) * 1e3
    groups = Grouping(np.arange(count) * 7 % 3, 4)
    values = rows[:1] + np.arange(4.0)[:, None]
    written = np.zeros(300)
    for row in rows:
        written = written + row

    np.testing.assert_array_equal(row_sum(rows), written)
    for case in (0, 17, 299):
        one = rows[:, case : case + 1]
        np.testing.assert_array_equal(row_mean(one), row_mean(rows)[case : case + 1])
        np.testing.assert_array_equal(groups.total(one)[:, 0], groups.total(rows)[:, case])
    spread = np.broadcast_to(groups.spread(values), rows.shape)
    np.testing.assert_array_equal(spread, values[groups.group])
