"""Heat balance: closed forms of small plants."""

import numpy as np
import pytest

from loopmargin_service.physics.exchanger import series_conductance
from loopmargin_service.physics.heat_balance import HeatInput, settle
from tests.unit.physics.bench_heat import (
    ROOM,
    Block,
    Branch,
    Case,
    Pump,
    Radiator,
    balance,
    rises,
)


def test_one_loop() -> None:
    """A block, a radiator and a pump: the hottest coolant is total heat over conductance above."""
    (along,), case = rises(
        [Branch(1, 0, 140.0, [Block(280.0), Radiator(35.0)])], Pump(140.0, heat=7.0)
    )

    assert along[1] == pytest.approx(287.0 / 35.0, rel=1e-9)
    assert along[1] - along[0] == pytest.approx(2.0, rel=1e-8)
    assert along[1] - along[2] == pytest.approx(287.0 / 140.0, rel=1e-8)
    assert along[0] - along[2] == pytest.approx(7.0 / 140.0, rel=1e-7)
    assert case == pytest.approx(0.0, abs=1e-9)


def test_parallel_branches_mix_by_capacity() -> None:
    """Two branches of 30 and 90 W/K with 120 and 90 W warm by 4 and 1 K and meet at 1.75 K."""
    branches = [
        Branch(1, 2, 30.0, [Block(120.0)]),
        Branch(1, 2, 90.0, [Block(90.0)]),
        Branch(2, 0, 120.0, [Radiator(42.0)]),
    ]

    (first, second, back), _ = rises(branches, Pump(120.0))

    assert first[1] - first[0] == pytest.approx(4.0, rel=1e-8)
    assert second[1] - second[0] == pytest.approx(1.0, rel=1e-8)
    assert back[0] - first[0] == pytest.approx(1.75, rel=1e-8)
    assert back[0] == pytest.approx(210.0 / 42.0, rel=1e-9)


@pytest.mark.parametrize("conductances", [[30.0], [30.0, 30.0], [10.0, 60.0, 25.0]])
def test_radiators_in_series(conductances: list[float]) -> None:
    """In fresh air they act as one with G = C (1 - prod(1 - G_i / C)), in any order."""
    capacity = 138.4311
    together = float(series_conductance(conductances, capacity))

    for order in (conductances, conductances[::-1]):
        row: list[Block | Radiator] = [Block(300.0), *map(Radiator, order)]
        (along,), _ = rises([Branch(1, 0, capacity, row)], Pump(capacity))
        assert along[1] == pytest.approx(300.0 / together, rel=1e-9)


def test_two_radiators_side_by_side_on_the_coolant() -> None:
    """Of equal branches with equal radiators each sheds half, at the same temperatures."""
    branches = [
        Branch(1, 2, 100.0, [Block(300.0)]),
        Branch(2, 0, 50.0, [Radiator(20.0)]),
        Branch(2, 0, 50.0, [Radiator(20.0)]),
    ]

    (_, first, second), _ = rises(branches, Pump(100.0))

    assert first == pytest.approx(second, rel=1e-12)
    assert first[0] == pytest.approx(300.0 / 40.0, rel=1e-9)


def test_a_branch_without_elements_carries_its_temperature() -> None:
    """A bare bypass mixes in unchanged what it took."""
    branches = [
        Branch(1, 0, 30.0),
        Branch(1, 0, 70.0, [Block(140.0), Radiator(20.0)]),
    ]

    (bypass, worked), _ = rises(branches, Pump(100.0))

    assert bypass == [worked[0]]
    assert 0.3 * bypass[0] + 0.7 * worked[2] == pytest.approx(worked[0], rel=1e-9)


def test_the_air_of_a_case_warms_by_its_heat() -> None:
    """60 W into 20 W/K of air are 3 K."""
    branches = [Branch(1, 0, 100.0, [Block(50.0), Radiator(25.0)])]

    assert rises(branches, Pump(100.0), Case(60.0, 20.0))[1] == pytest.approx(3.0, rel=1e-8)


def test_an_intake_radiator_warms_the_case() -> None:
    """All that it sheds, and the heat of the case, leave with the air that it brings in."""
    branches = [Branch(1, 0, 100.0, [Block(200.0), Radiator(20.0, into_case=40.0)])]

    (along,), case = rises(branches, Pump(100.0), Case(60.0, air=0.0))

    assert along[1] == pytest.approx(200.0 / 20.0, rel=1e-9)
    assert case == pytest.approx(260.0 / 40.0, rel=1e-8)


def test_an_exhaust_radiator_is_fed_with_case_air() -> None:
    """Its coolant stands above the case air as it would above the room."""
    branches = [Branch(1, 0, 100.0, [Block(200.0), Radiator(20.0, from_case=True)])]

    (along,), case = rises(branches, Pump(100.0), Case(60.0, air=20.0))

    assert case == pytest.approx(3.0, rel=1e-8)
    assert along[1] == pytest.approx(3.0 + 200.0 / 20.0, rel=1e-9)


def test_intake_and_exhaust_radiator_in_one_loop() -> None:
    """The second is fed with air that the first has warmed: a closed form in two unknowns.

    In rises: case 40 c = 20 a + 60, heat 200 = 20 a + 30 (b - c), b = a - 20 a / 100.
    """
    row = (Block(200.0), Radiator(20.0, into_case=40.0), Radiator(30.0, from_case=True))
    hot = (200.0 + 30.0 * 1.5) / (20.0 + 30.0 * 0.8 - 30.0 * 0.5)

    (along,), case = rises([Branch(1, 0, 100.0, row)], Pump(100.0), Case(60.0, air=0.0))

    assert along[1] == pytest.approx(hot, rel=1e-8)
    assert case == pytest.approx((20.0 * hot + 60.0) / 40.0, rel=1e-8)


def test_a_closed_case_gets_very_hot() -> None:
    """Without air, the heat of the case gives a finite and absurd temperature."""
    branches = [Branch(1, 0, 100.0, [Block(50.0), Radiator(25.0)])]

    case = rises(branches, Pump(100.0), Case(60.0, air=0.0))[1]

    assert 1e4 < case < 1e6


def test_a_block_in_still_coolant_gets_very_hot() -> None:
    """Without flow, the end of its branch has a finite and absurd temperature."""
    branches = [
        Branch(1, 0, 100.0, [Block(50.0), Radiator(25.0)]),
        Branch(1, 0, 0.0, [Block(50.0)]),
    ]

    (_, still), _ = rises(branches, Pump(100.0))

    assert 1e4 < still[1] < 1e6


def test_a_node_without_flow_rests_at_the_room() -> None:
    """Between two still branches a node is where the room is."""
    branches = [
        Branch(1, 0, 100.0, [Block(50.0), Radiator(25.0)]),
        Branch(1, 2, 0.0),
        Branch(2, 0, 0.0),
    ]

    nodes = settle(*balance(branches, [Pump(100.0)])).nodes

    assert float(nodes[2, 0]) == pytest.approx(ROOM, abs=1e-6)


def test_a_batch_may_flow_either_way() -> None:
    """In one batch a bridge between two branches carries coolant forwards, backwards and not."""
    branches = [
        Branch(1, 2, 60.0, [Block(200.0)]),
        Branch(1, 3, 40.0, [Block(50.0)]),
        Branch(2, 3, 10.0, [Block(30.0), Radiator(4.0)]),
        Branch(2, 0, 50.0, [Radiator(20.0)]),
        Branch(3, 0, 50.0, [Radiator(15.0)]),
    ]
    across = np.array([10.0, -10.0, 0.0])
    layout, one = balance(branches, [Pump(100.0)])
    many = HeatInput(*(np.repeat(part, 3, axis=-1) for part in one))
    many.branch_capacity[[2, 3, 4]] = [across, 60.0 - across, 40.0 + across]

    together = settle(layout, many)

    for case, bridge in enumerate(across):
        alone = one._replace(branch_capacity=many.branch_capacity[:, [case]])
        expected = settle(layout, alone)
        np.testing.assert_allclose(together.nodes[:, case], expected.nodes[:, 0], rtol=1e-11)
        source = 3 if bridge < 0.0 else 2
        start = together.profiles[2][-1 if bridge < 0.0 else 0, case]
        assert start == pytest.approx(together.nodes[source, case], rel=1e-12)


@pytest.mark.parametrize("leak", [0.0, -1e-6])
def test_a_pump_behind_a_shut_valve_still_gives_its_heat(leak: float) -> None:
    """Its motor warms the node that it would deliver to; none of the heat is lost."""
    branches = [Branch(1, 0, 100.0, [Block(50.0), Radiator(25.0)])]
    running, shut = Pump(100.0, heat=8.0), Pump(leak, heat=5.0)

    found = settle(*balance(branches, [running, shut]))

    assert found.profiles[0][1, 0] - ROOM == pytest.approx(63.0 / 25.0, rel=1e-5)


@pytest.mark.parametrize("way", [1, -1])
def test_case_air_takes_up_what_each_radiator_sheds_into_it(way: int) -> None:
    """Radiators behind blocks and behind each other, the branch drawn along its flow or against it.

    The case rises by what enters it: conductance times inlet rise of every radiator that blows
    into it, and its own heat, over the capacity rate of all its air.
    """
    row: list[Block | Radiator] = [Block(150.0), Radiator(20.0, into_case=15.0), Block(60.0)]
    row += [Radiator(12.0, into_case=10.0), Radiator(8.0, from_case=True)]
    branch = Branch(1, 0, 90.0, row) if way > 0 else Branch(0, 1, -90.0, row[::-1])

    (along,), case = rises([branch], Pump(90.0, heat=5.0), Case(heat=30.0, air=20.0))

    along = along[::way]
    assert (20.0 * along[1] + 12.0 * along[3] + 30.0) / 45.0 == pytest.approx(case, rel=1e-7)
    assert along[4] - along[5] == pytest.approx(8.0 * (along[4] - case) / 90.0, rel=1e-7)
    out = 20.0 * along[1] + 12.0 * along[3] + 8.0 * (along[4] - case)
    assert out == pytest.approx(215.0, rel=1e-6)
