"""Exchangers: limits, bounds, order and round trips."""

from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import ArrayLike, NDArray

from loopmargin_service.physics import exchanger

Arrangement = Callable[[ArrayLike, ArrayLike], NDArray[np.float64]]

ARRANGEMENTS = (
    exchanger.effectiveness_crossflow_unmixed,
    exchanger.effectiveness_counterflow,
    exchanger.effectiveness_cmax_mixed,
    exchanger.effectiveness_cmin_mixed,
)
UNITS = st.floats(1e-6, 40.0)
RATIOS = st.floats(0.0, 1.0)
CAPACITIES = st.floats(0.01, 500.0)


@pytest.mark.parametrize("arrangement", ARRANGEMENTS)
def test_nothing_exchanged_without_transfer_units(arrangement: Arrangement) -> None:
    """No transfer units, no effectiveness, and the first unit counts in full."""
    found = arrangement([0.0, 1e-7], [0.4, 0.4])

    assert found[0] == 0.0
    assert found[1] == pytest.approx(1e-7, rel=1e-6)


@pytest.mark.parametrize("arrangement", ARRANGEMENTS)
@pytest.mark.parametrize("ntu", [0.1, 1.0, 5.0, 1e6])
def test_endless_other_stream(arrangement: Arrangement, ntu: float) -> None:
    """With a capacity ratio of zero every arrangement is 1 - exp(-NTU)."""
    assert -np.expm1(-ntu) == pytest.approx(float(arrangement(ntu, 0.0)), rel=1e-13)


def test_counterflow_of_equal_streams() -> None:
    """At a ratio of one counterflow takes its limit."""
    assert pytest.approx(float(exchanger.effectiveness_counterflow(3.0, 1.0)), rel=1e-7) == 0.75


@given(ntu=UNITS, ratio=RATIOS)
def test_crossflow_stays_below_counterflow(ntu: float, ratio: float) -> None:
    """Nothing beats counterflow, and everything lies between zero and one."""
    cross = float(exchanger.effectiveness_crossflow_unmixed(ntu, ratio))
    counter = float(exchanger.effectiveness_counterflow(ntu, ratio))

    assert 0.0 <= cross <= counter + 1e-7
    assert counter <= 1.0


@given(ntu=UNITS, more=st.floats(1.0, 3.0), ratio=RATIOS)
def test_more_area_exchanges_more(ntu: float, more: float, ratio: float) -> None:
    """Effectiveness never falls with the transfer units."""
    small, large = exchanger.effectiveness_crossflow_unmixed([ntu, ntu * more], ratio)

    assert large >= small - 1e-14


def test_far_too_large_an_exchanger_is_held() -> None:
    """Beyond 50 units on the stronger stream the value there stays, below the limit of one."""
    found = exchanger.effectiveness_crossflow_unmixed([50.0, 1e9], [1.0, 1.0])

    assert found[0] == found[1]
    assert 1.0 - found[1] == pytest.approx(0.08, abs=0.001)


@pytest.mark.parametrize("shape", [(), (4,), (3, 4)])
def test_broadcasts(shape: tuple[int, ...]) -> None:
    """Any shapes that numpy can broadcast give each element's own value."""
    ntu = np.linspace(0.5, 3.0, 12)[: int(np.prod(shape))].reshape(shape)
    ratio = np.array([0.3])

    found = exchanger.effectiveness_crossflow_unmixed(ntu, ratio)

    one_by_one = [float(exchanger.effectiveness_crossflow_unmixed(n, 0.3)) for n in ntu.flat]
    assert one_by_one == pytest.approx(found.ravel().tolist(), rel=1e-12)


@given(ntu=st.floats(1e-6, 29.0), ratio=RATIOS)
def test_inverse_returns_the_transfer_units(ntu: float, ratio: float) -> None:
    """Transfer units survive the way to effectiveness and back, as far as it tells them apart."""
    effectiveness = float(exchanger.effectiveness_crossflow_unmixed(ntu, ratio))

    found = exchanger.ntu_crossflow_unmixed(effectiveness, ratio)

    assert effectiveness == pytest.approx(
        float(exchanger.effectiveness_crossflow_unmixed(found, ratio)), rel=1e-12
    )
    if effectiveness < 0.99:
        assert ntu == pytest.approx(float(found), rel=1e-9)


def test_inverse_out_of_reach_is_held() -> None:
    """An effectiveness that no exchanger has gives the largest transfer units, at any ratio."""
    found = exchanger.ntu_crossflow_unmixed([0.95, 1.0, 2.0, -0.1], [1.0, 0.2, 0.2, 0.2])

    assert found.tolist() == [exchanger.NTU_MAX] * 3 + [0.0]


# Conductances below the smallest transfer units that the series resolves are no radiator's.
@given(
    ua=st.just(0.0) | st.floats(1e-6, 500.0),
    air=CAPACITIES,
    liquid=CAPACITIES,
    passes=st.sampled_from([1, 2]),
)
def test_conductance_is_below_both_capacity_rates(
    ua: float, air: float, liquid: float, passes: int
) -> None:
    """No radiator moves more than either stream can carry, nor more than its surface."""
    found = float(exchanger.inlet_conductance(ua, air, liquid, passes))

    assert 0.0 <= found <= min(ua, air, liquid) * (1.0 + 1e-12)


@given(ua=st.floats(1.0, 300.0), air=CAPACITIES, liquid=CAPACITIES)
def test_two_passes_lose_a_little(ua: float, air: float, liquid: float) -> None:
    """Side by side in the air a U flow is never better than one pass."""
    one = float(exchanger.inlet_conductance(ua, air, liquid))
    two = float(exchanger.inlet_conductance(ua, air, liquid, 2))

    assert two <= one * (1.0 + 1e-12)


def test_still_streams_carry_nothing() -> None:
    """With either stream at rest the conductance is next to nothing, and finite."""
    found = exchanger.inlet_conductance(90.0, [0.0, 46.6, 0.0], [139.0, 0.0, 0.0])

    assert np.all((found >= 0.0) & (found < 1e-8))


@given(conductance=st.floats(1.0, 40.0), count=st.integers(1, 6), liquid=st.floats(50.0, 300.0))
def test_series_leaves_what_each_leaves(conductance: float, count: int, liquid: float) -> None:
    """Equal radiators in series cool step by step what one after the other would."""
    hot, warm = 30.0, 30.0
    for _ in range(count):
        warm -= conductance / liquid * warm

    found = float(exchanger.series_conductance([conductance] * count, liquid))

    assert liquid * (hot - warm) / hot == pytest.approx(found)


@pytest.mark.parametrize(
    ("basis", "position"), [("coolant_inlet", 0.0), ("coolant_mean", 0.5), ("coolant_outlet", 1.0)]
)
def test_rating_basis(basis: exchanger.Basis, position: float) -> None:
    """The same heat is moved whichever coolant temperature the rating was divided by."""
    conductance, liquid, difference = 30.0, 138.4311, 20.0
    heat = conductance * difference

    rated = heat / (difference - position * heat / liquid)

    found = float(exchanger.rating_to_inlet_basis(rated, basis, liquid))
    assert conductance == pytest.approx(found)


def test_regression_of_the_u_flow() -> None:
    """Own digits: the two arrangements of one core at three coolant flows."""
    one = exchanger.inlet_conductance(90.0, 46.6, [69.0, 139.0, 278.0])
    two = exchanger.inlet_conductance(90.0, 46.6, [69.0, 139.0, 278.0], 2)

    assert pytest.approx(one.tolist(), abs=5e-5) == [31.7468, 35.6926, 37.7465]
    assert pytest.approx(two.tolist(), abs=5e-5) == [31.0551, 35.1839, 37.4386]


def test_inverse_of_nonsense_ends() -> None:
    """What is no number never settles; the search still ends, and says so."""
    assert np.isnan(exchanger.ntu_crossflow_unmixed(np.nan, 0.3))
