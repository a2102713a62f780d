"""A plant as lumped stores: at rest it is the heat balance, on the way heat is conserved."""

import numpy as np
import pytest
from hypothesis import given, settings

from loopmargin_service.physics.heat_balance import HeatInput, HeatLayout, settle
from loopmargin_service.physics.lumped import (
    Lumped,
    Stores,
    assemble,
    at_rest,
    at_room,
    couplings,
    stopped,
)
from loopmargin_service.physics.transient import read, trace
from tests.unit.physics.bench_heat import (
    ROOM,
    Block,
    Branch,
    Case,
    Drawn,
    Pump,
    Radiator,
    balance,
    plants,
)

LOOP = [Branch(1, 0, 120.0, [Block(200.0), Radiator(25.0, into_case=30.0), Block(80.0)])]


def stored(layout: HeatLayout, given: HeatInput) -> Stores:
    """Give every store a capacity of its own."""

    def column(count: int, first: float) -> np.ndarray:
        return first + 10.0 * np.arange(count, dtype=np.float64)[:, None]

    return Stores(
        column(layout.node_count, 900.0),
        column(len(given.block_heat), 180.0),
        column(len(given.conductance), 400.0),
    )


def system(layout: HeatLayout, given: HeatInput) -> tuple[Lumped, Stores]:
    """Lump a plant with middling resistances."""
    joined = couplings(
        layout,
        given,
        np.full_like(given.block_heat, 0.05),
        np.full_like(given.conductance, 0.75),
    )
    stores = stored(layout, given)
    return assemble(layout, given, stores, joined), stores


@settings(max_examples=60, deadline=None)
@given(drawn=plants())
def test_at_rest_it_is_the_heat_balance(drawn: Drawn) -> None:
    """Whatever the stores hold, coolant settles everywhere where `settle` says."""
    layout, given_heat = balance(drawn.branches, [drawn.pump], drawn.case)
    lumped, _ = system(layout, given_heat)

    expected = np.concatenate(settle(layout, given_heat).profiles)[:, 0] - ROOM
    actual = read(lumped.coolant, at_rest(lumped))[0]

    assert actual == pytest.approx(expected, rel=1e-5, abs=1e-6)


@settings(max_examples=60, deadline=None)
@given(drawn=plants())
def test_no_store_cools_another_below_itself(drawn: Drawn) -> None:
    """Off the diagonal nothing is negative, so a cold start only rises."""
    lumped, _ = system(*balance(drawn.branches, [drawn.pump], drawn.case))
    off = lumped.rate[0] - np.diag(np.diag(lumped.rate[0]))

    assert (off >= -1e-12).all()


def test_heat_put_in_is_heat_stored_at_first() -> None:
    """From cold nothing leaves yet: the stores take the whole power."""
    layout, given_heat = balance(LOOP, [Pump(120.0, heat=7.0)], Case())
    lumped, stores = system(layout, given_heat)
    capacity = np.concatenate(stores)[:, 0]

    warming = (lumped.rate[0] @ at_room(lumped)[0])[:-1]

    assert float(capacity @ warming) == pytest.approx(287.0, rel=1e-12)


def test_heat_is_conserved_on_the_way() -> None:
    """Power minus what radiators shed is what the stores take, at any moment."""
    layout, given_heat = balance(LOOP, [Pump(120.0, heat=7.0)], Case())
    lumped, stores = system(layout, given_heat)
    state = trace(lumped.rate, at_room(lumped), np.array([90.0]), 1)[0, 1]
    joined = couplings(layout, given_heat, np.full((2, 1), 0.05), np.full((1, 1), 0.75))

    warming = float(np.concatenate(stores)[:, 0] @ (lumped.rate[0] @ state)[:-1])
    shed = float(joined.air_side[0, 0]) * state[-2]

    assert warming + shed == pytest.approx(287.0, rel=1e-9)


def test_the_case_warms_what_draws_from_it() -> None:
    """An exhaust radiator starts at the temperature of the case air, which follows at once."""
    branches = [Branch(1, 0, 120.0, [Block(0.0), Radiator(25.0, from_case=True)])]
    layout, given_heat = balance(branches, [Pump(120.0)], Case(heat=100.0, air=20.0))
    lumped, _ = system(layout, given_heat)

    assert read(lumped.coolant, at_rest(lumped))[0] == pytest.approx([5.0, 5.0, 5.0], rel=1e-6)


def test_both_directions_of_flow_are_the_same_plant() -> None:
    """A branch drawn backwards against its flow changes nothing."""
    back = [Branch(0, 1, -120.0, LOOP[0].elements[::-1])]
    one, _ = system(*balance(LOOP, [Pump(120.0)], Case()))
    other, _ = system(*balance(back, [Pump(120.0)], Case()))

    assert read(other.coolant, at_rest(other))[0, ::-1] == pytest.approx(
        read(one.coolant, at_rest(one))[0], rel=1e-9
    )


def test_standing_coolant_leaves_each_block_alone() -> None:
    """Every block warms at its own power over its own capacity; all else stays."""
    layout, given_heat = balance(LOOP, [Pump(120.0)], Case())
    lumped, stores = system(layout, given_heat)
    start = at_rest(lumped)
    still = stopped(lumped, start, stores, given_heat.block_heat)

    states = trace(still.rate, start, np.array([10.0]), 3)[0]

    warming = states[-1] - states[0]
    expected = np.zeros_like(warming)
    expected[2:4] = 30.0 * given_heat.block_heat[:, 0] / stores.block[:, 0]
    assert warming == pytest.approx(expected, rel=1e-12)
    begun = read(still.coolant, start)[0].max()
    assert begun == pytest.approx(read(lumped.coolant, start)[0].max(), rel=1e-12)


def test_standing_coolant_is_read_behind_each_block() -> None:
    """It keeps the difference to its block that it had when the flow stopped."""
    layout, given_heat = balance(LOOP, [Pump(120.0)], Case())
    lumped, stores = system(layout, given_heat)
    start = at_rest(lumped)
    still = stopped(lumped, start, stores, given_heat.block_heat)
    later = trace(still.rate, start, np.array([10.0]), 3)[:, -1]

    np.testing.assert_allclose(read(still.outlets, start), read(lumped.outlets, start), rtol=1e-12)
    warmed = (later - start)[0, still.first_block : still.first_block + 2]
    behind = read(still.outlets, later)[0]
    np.testing.assert_allclose(behind, read(lumped.outlets, start)[0] + warmed, rtol=1e-12)
    np.testing.assert_allclose(read(still.coolant, later)[0, :2], behind, rtol=1e-15)


@pytest.mark.parametrize("way", [1.0, -1.0])
def test_slow_coolant_settles_as_the_heat_balance_has_it(way: float) -> None:
    """Of a branch with less than 1 W/K, drawn along its flow or against it."""
    slow = Branch(1, 0, 0.4, [Block(3.0), Radiator(0.3, into_case=5.0), Block(1.0)])
    if way < 0.0:
        slow = Branch(0, 1, -0.4, slow.elements[::-1])
    layout, given_heat = balance([LOOP[0], slow], [Pump(120.4, heat=2.0)], Case())
    lumped, _ = system(layout, given_heat)

    expected = np.concatenate(settle(layout, given_heat).profiles)[:, 0] - ROOM
    assert read(lumped.coolant, at_rest(lumped))[0] == pytest.approx(expected, rel=1e-7)


def test_pumps_side_by_side_each_give_their_heat() -> None:
    """Two pumps into one junction warm it as one with the heat and the flow of both."""
    pair = [Pump(50.0, heat=7.0), Pump(70.0, heat=11.0)]
    one, _ = system(*balance(LOOP, [Pump(120.0, heat=18.0)], Case()))
    two, _ = system(*balance(LOOP, pair, Case()))

    np.testing.assert_allclose(two.rate, one.rate, rtol=1e-12, atol=1e-15)


@pytest.mark.parametrize("resistance", [0.0, 1e-4, 0.05, 2.0])
def test_a_stream_passes_on_no_more_than_it_can_carry(resistance: float) -> None:
    """Coolant leaves a block no warmer than the block."""
    layout, given_heat = balance(LOOP, [Pump(120.0)], Case())

    joined = couplings(layout, given_heat, np.full((2, 1), resistance), np.full((1, 1), 0.75))

    assert (joined.block <= 120.0).all()
    whole = 1.0 / (1.0 / joined.coolant_side + 1.0 / joined.air_side)
    assert whole == pytest.approx(np.full((1, 1), 25.0), rel=1e-12)
