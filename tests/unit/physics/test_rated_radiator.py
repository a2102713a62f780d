"""Rated radiators: the way back to the rating, order, and what no radiator can do."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from loopmargin_service.physics import exchanger, rated_radiator
from loopmargin_service.physics.rated_radiator import Rating

AIR, LIQUID = 46.7105377, 138.4310667
FACTORS = st.floats(0.05, 20.0)


def conductance(rating: Rating, air: float, liquid: float) -> float:
    """Conductance between the inlets at flows relative to the rating."""
    scaled = rated_radiator.scaled_ua(rating, rated_radiator.rated_ua(rating), air, liquid)
    return float(exchanger.inlet_conductance(scaled, *capacities(rating, air, liquid)))


def capacities(rating: Rating, air: float, liquid: float) -> tuple[float, float]:
    """Capacity rates at flows relative to the rating."""
    return air * float(np.array(rating.air_capacity)), liquid * float(
        np.array(rating.liquid_capacity)
    )


@st.composite
def ratings(draw: st.DrawFn) -> Rating:
    """Any possible rating at unit flows."""
    air, liquid = draw(st.floats(1.0, 500.0)), draw(st.floats(1.0, 500.0))
    ratio = min(air, liquid) / max(air, liquid)
    most = float(exchanger.effectiveness_crossflow_unmixed(exchanger.NTU_MAX, ratio))
    return Rating(
        conductance=draw(st.floats(0.01, 0.99)) * most * min(air, liquid),
        air_capacity=air,
        liquid_capacity=liquid,
        air_flow=1.0,
        liquid_flow=1.0,
        air_share=draw(st.floats(0.1, 0.98)),
        air_exponent=draw(st.floats(0.1, 1.0)),
        liquid_exponent=draw(st.floats(0.0, 0.9)),
    )


@given(rating=ratings())
def test_rated_flows_return_the_rating(rating: Rating) -> None:
    """At the rated flows the rated conductance comes back."""
    assert rating.conductance == pytest.approx(conductance(rating, 1.0, 1.0), rel=1e-9)
    assert rated_radiator.rating_possible(rating)


@given(rating=ratings(), air=FACTORS, liquid=FACTORS, more=st.floats(1.0, 3.0))
def test_more_flow_moves_more_heat(rating: Rating, air: float, liquid: float, more: float) -> None:
    """The conductance rises with either flow and stays below both capacity rates."""
    base = conductance(rating, air, liquid)

    assert conductance(rating, air * more, liquid) >= base * (1.0 - 1e-9)
    assert conductance(rating, air, liquid * more) >= base * (1.0 - 1e-9)
    assert base <= min(capacities(rating, air, liquid)) * (1.0 + 1e-9)


def test_slow_air_leaves_as_warm_as_the_coolant() -> None:
    """With little air the conductance tends to the capacity rate of the air."""
    rating = Rating(30.0, AIR, LIQUID, 1.0, 1.0)

    found = conductance(rating, 1e-3, 1.0)

    assert found == pytest.approx(1e-3 * AIR, rel=1e-2)


@pytest.mark.parametrize(
    ("rated", "possible"),
    [(46.8, False), (46.71, False), (46.6, True), (1e-3, True), (0.0, False), (-1.0, False)],
)
def test_no_radiator_beats_its_air(rated: float, possible: bool) -> None:  # noqa: FBT001 - a table
    """A rating above the weaker capacity rate is not possible, nor is one of nothing."""
    rating = Rating(rated, AIR, LIQUID, 1.0, 1.0)

    assert bool(rated_radiator.rating_possible(rating)) is possible


def test_impossible_rating_has_a_finite_ua() -> None:
    """UA of an impossible rating is that of the largest transfer units, never a nan."""
    rating = Rating([46.8, 500.0], AIR, LIQUID, 1.0, 1.0)

    assert rated_radiator.rated_ua(rating).tolist() == pytest.approx([exchanger.NTU_MAX * AIR] * 2)


def test_still_streams_have_a_finite_ua() -> None:
    """No flow gives a small UA, not a division by zero."""
    rating = Rating(30.0, AIR, LIQUID, 1.0, 1.0)

    found = rated_radiator.scaled_ua(rating, 58.0, [0.0, 1.0, 0.0], [1.0, 0.0, 0.0])

    assert np.all((found > 0.0) & (found < 58.0))


@pytest.mark.parametrize(("factor", "share"), [(0.5, 0.75), (0.8, 0.4), (1.2, 0.9)])
def test_coolant_conductivity_counts_for_its_share(factor: float, share: float) -> None:
    """Another coolant changes the liquid side of the resistance only, in proportion."""
    rating = Rating(30.0, AIR, LIQUID, 1.0, 1.0, air_share=share)

    found = float(rated_radiator.scaled_ua(rating, 58.0, 1.0, 1.0, factor))

    assert 58.0 / found == pytest.approx(share + (1.0 - share) / factor)


@pytest.mark.parametrize(
    ("rated", "expected"),
    [
        (25.0, [41.2764, 16.3841, 35.1430, 22.1690, 26.9253, 15.2222]),
        (30.0, [58.4519, 18.8386, 43.3477, 26.3526, 32.3638, 17.5410]),
        (35.0, [84.8681, 20.8999, 52.3254, 30.5886, 37.6561, 19.6277]),
    ],
)
def test_regression_of_three_ratings(rated: float, expected: list[float]) -> None:
    """Own digits: UA and five flow cases against a second implementation."""
    rating = Rating(rated, AIR, LIQUID, 1.0, 1.0, liquid_exponent=0.3)
    cases = [(0.5, 1.0), (2.0, 1.0), (1.0, 0.5), (1.0, 2.0), (0.5, 0.5)]

    found = [float(rated_radiator.rated_ua(rating)), *(conductance(rating, *c) for c in cases)]

    assert expected == pytest.approx(found, abs=5e-5)
