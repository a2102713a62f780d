"""`supply-headroom`: windows, rating, mains, refusals and outcomes."""

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import msgspec
import pytest

from loopmargin_service.questions.edition import EDITION
from loopmargin_service.questions.refusals import Refusal
from loopmargin_service.questions.supply_headroom import answer
from loopmargin_wire.supply_headroom import SupplyHeadroomQuestion
from tests.unit.questions.budget import ask, margin_of, supply

EXAMPLE = Path(__file__).parents[3] / "openapi/examples/supply-headroom.question.json"


def test_demand_of_the_guides_own_budget() -> None:
    """Regression: 300 W card, 300 W processor with 436.8 W peak, 150 W rest, in every window."""
    expected = [1486.8, 1336.8, 1186.8, 900.0, 750.0, 750.0]
    assert expected == pytest.approx([row.demand_w for row in ask().state.windows], abs=1e-9)


@pytest.mark.parametrize(
    ("cards", "expected", "governing"),
    [
        ([], [293.4, 326.0, 366.7, 375.0, 450.0], "continuous"),
        ([150], [518.4, 534.3, 554.2, 562.5, 600.0], "continuous"),
        ([300], [743.4, 742.7, 741.7, 750.0, 750.0], "continuous"),
        ([450], [968.4, 951.0, 929.2, 937.5, 900.0], "100_us"),
        ([575], [1155.9, 1124.6, 1085.5, 1093.8, 1025.0], "100_us"),
        ([600], [1193.4, 1159.3, 1116.8, 1125.0, 1050.0], "100_us"),
        ([300, 300], [1193.4, 1159.3, 1116.8, 1125.0, 1050.0], "100_us"),
    ],
)
def test_required_power_of_each_window(
    cards: Sequence[float], expected: Sequence[float], governing: str
) -> None:
    """Regression: below a 300 W card the sustained sum governs, above it the shortest peak."""
    state = ask(cards=[{"sustained_w": watts} for watts in cards]).state

    required = [row.required_power_w for row in state.windows]
    assert [*expected, expected[-1]] == pytest.approx(required, abs=0.0501)
    assert (governing, max(required)) == (state.governing_window, state.required_power_w)


def test_two_cards_are_one_entry_of_count_two_but_for_the_uncertainty() -> None:
    """Equal cards are wrong together; two different ones are not."""
    pair = ask(cards=[{"sustained_w": 300, "count": 2}]).state
    two = ask(cards=[{"sustained_w": 300}, {"sustained_w": 300}]).state

    assert pair.windows == two.windows
    assert pair.sustained_uncertainty_w > two.sustained_uncertainty_w


def test_uncertainties_combine_in_quadrature() -> None:
    """Regression: 300 W and 287.5 W at 5 % with 150 W at 20 % are 737.50 W, u = 36.49 W.

    The draws say the same within four standard errors of theirs.
    """
    exact = ask(processor={"sustained_w": 287.5}, uncertainty=None).state
    drawn = ask(processor={"sustained_w": 287.5}, uncertainty={"draws": 20000}).state

    assert exact.sustained_w == pytest.approx(737.5)
    assert exact.sustained_uncertainty_w == pytest.approx(36.49, abs=0.005)
    assert drawn.sustained_uncertainty_w == pytest.approx(36.49, abs=4 * 36.49 / 200)


@pytest.mark.parametrize(
    ("rated_c", "slope", "rating", "next_rating"),
    [(40.0, 0.02, 1201.93, 1300.0), (50.0, 0.025, 1081.74, 1200.0)],
)
def test_rating_with_margin_and_derate(
    rated_c: float, slope: float, rating: float, next_rating: float
) -> None:
    """Regression: 983.40 W before, with 10 % and a derate of 0.90 or none; each used once."""
    state = ask(
        cards=[{"sustained_w": 450}],
        rest_w=180,
        inlet_c=45,
        supply=supply(rated_temperature_c=rated_c, derate_per_k=slope),
    ).state

    assert state.required_power_w == pytest.approx(983.40, abs=0.005)
    assert state.required_rating_w == pytest.approx(rating, abs=0.005)
    assert state.next_common_rating_w == next_rating


@pytest.mark.parametrize(
    ("allowance", "column", "required"),
    [
        ({"kind": "published_staircase", "high_power_connector": True}, "upper", 750.0),
        ({"kind": "published_staircase", "high_power_connector": False}, "lower", 991.2),
        ({"kind": "legacy_lower_column"}, "lower", 991.2),
        ({"kind": "legacy_flat", "factor": 1.1}, "flat", 1486.8 / 1.1),
        ({"kind": "none"}, "none", 1486.8),
    ],
)
def test_allowance(allowance: dict[str, Any], column: str, required: float) -> None:
    """The same load asks for twice the supply when nothing is declared of its peaks."""
    state = ask(supply=supply(allowance=allowance)).state

    assert column == state.allowance_column
    assert required == pytest.approx(state.required_power_w)


def test_small_supplies_get_the_lower_column() -> None:
    """Up to 450 W the lower column holds; the next common rating counts on its own column."""
    state = ask(
        processor={"sustained_w": 100, "peak_over_sustained": 1},
        cards=[{"sustained_w": 260}],
        rest_w=50,
        margin_fraction=0,
        supply=supply(rated_w=450),
    ).state

    assert state.allowance_column == "lower"
    assert state.required_power_w == pytest.approx(620.0)
    assert state.next_common_rating_w == 550.0


def test_altitude_enters_through_the_derating_alone() -> None:
    """3300 m lowers the rated inlet by 8 K, and demand and efficiency not at all."""
    low, high = ask(inlet_c=50).state, ask(inlet_c=50, altitude_m=3300).state

    assert high.full_rating_up_to_c == pytest.approx(42.0)
    assert high.derate_factor == pytest.approx(1.0 - 8 * 0.025)
    assert [row.demand_w for row in low.windows] == [row.demand_w for row in high.windows]
    assert high.required_power_w == low.required_power_w


def test_capacity_is_allowance_times_derated_rating() -> None:
    """At a derate of 0.75 every window is left with three quarters of what it had."""
    windows = ask(inlet_c=60, supply=supply(rated_w=1000)).state.windows
    expected = [1500.0, 1350.0, 1200.0, 900.0, 750.0, 750.0]
    assert expected == pytest.approx([row.capacity_w for row in windows])


def test_recovery_levels_are_those_of_the_published_test() -> None:
    """A 1000 W supply is tested with 918, 897, 882 and 924 W between its excursions."""
    staircase = ask(supply=supply(rated_w=1000)).state.windows
    flat = ask(supply=supply(allowance={"kind": "legacy_flat"})).state.windows

    levels = [row.recovery_level_w for row in staircase]
    assert levels[:4] == pytest.approx([918, 897, 882, 924], abs=0.5)
    assert levels[4:] == [None, None]
    assert {row.recovery_level_w for row in flat} == {None}


def test_verdicts_of_the_windows() -> None:
    """A supply that is only just enough is tight, one watt less fails."""
    exact, less = ask(supply=supply(rated_w=750.0001)), ask(supply=supply(rated_w=749))

    assert margin_of(exact, "power, continuous").verdict == "tight"
    assert margin_of(exact, "power, continuous").chance == pytest.approx(0.5, abs=0.06)
    assert margin_of(less, "power, continuous").verdict == "fails"


def test_rating_is_judged_by_its_margin_alone() -> None:
    """The rating carries the margin fraction in place of an uncertainty, so no chance."""
    row = margin_of(ask(), "rating with margin")

    assert row.demand == pytest.approx(825.0)
    assert row.capacity == 750.0
    assert (row.chance, row.verdict) == (None, "fails")


def test_mains_side() -> None:
    """Regression: 600 W from 1000 W of the gold tier at 115 V and power factor 0.99."""
    mains = ask(
        processor={"sustained_w": 150},
        supply=supply(rated_w=1000, power_factor=0.99),
    ).state.mains

    assert mains is not None
    assert mains.power_w == pytest.approx(669.221, abs=5e-4)
    assert mains.heat_from_supply_w == pytest.approx(69.221, abs=5e-4)
    assert mains.current_a == pytest.approx(5.8781, abs=5e-5)
    assert mains.apparent_power_va == pytest.approx(669.221 / 0.99, abs=5e-4)
    assert mains.heat_to_room_w == mains.power_w


@pytest.mark.parametrize(("certified_at", "expected"), [("115_v", 0.90), ("230_v", 0.92)])
def test_tier_is_that_of_its_certificate(certified_at: str, expected: float) -> None:
    """At half load the gold tier promises two points more at 230 V."""
    efficiency = {"kind": "tier", "tier": "gold", "certified_at": certified_at}
    mains = ask(supply=supply(rated_w=1500, efficiency=efficiency)).state.mains

    assert mains is not None
    assert expected == pytest.approx(mains.efficiency)


def test_measured_efficiency_points_in_any_order() -> None:
    """Points are sorted, and the efficiency at a point is the one measured there."""
    points = [(1.0, 0.88), (0.3, 0.91), (0.6, 0.92)]
    efficiency = {
        "kind": "points",
        "points": [{"load_fraction": load, "efficiency": value} for load, value in points],
    }
    mains = ask(supply=supply(rated_w=1250, efficiency=efficiency)).state.mains

    assert mains is not None
    assert mains.efficiency == pytest.approx(0.92)


def test_two_efficiencies_at_one_load_are_refused() -> None:
    """The refusal names the field, the value, the other point and what to do."""
    point = {"load_fraction": 0.5, "efficiency": 0.9}
    efficiency = {"kind": "points", "points": [point, {**point, "efficiency": 0.8}]}

    with pytest.raises(
        Refusal, match=r"Point 1 repeats the load fraction 0\.5 of point 0"
    ) as caught:
        ask(supply=supply(efficiency=efficiency))

    (fault,) = caught.value.faults
    assert fault.path == ("supply", "efficiency", "points", 1, "load_fraction")


def test_overloaded_supply_has_no_operating_point_but_an_answer() -> None:
    """The windows, the rating and advice are there; the mains side is not."""
    overloaded = ask(supply=supply(rated_w=600))

    assert overloaded.outcome.status == "no_operating_point"
    assert "750 W" in overloaded.outcome.reason
    assert overloaded.outcome.advice[0] == "Take a supply of 850 W."
    assert overloaded.state.mains is None
    assert overloaded.state.required_rating_w == pytest.approx(825.0)


def test_inlet_that_leaves_nothing_of_the_rating() -> None:
    """No number is invented for the rating that would be needed; capacity is zero."""
    hot = ask(inlet_c=70, supply=supply(rated_temperature_c=30, derate_per_k=0.05))

    assert (hot.state.required_rating_w, hot.state.next_common_rating_w) == (None, None)
    assert {row.capacity_w for row in hot.state.windows} == {0.0}
    assert any("below 30.0 degC" in sentence for sentence in hot.outcome.advice)


def test_example_is_answered_and_echoed() -> None:
    """The published example works, and the answer repeats the question with its defaults."""
    question = msgspec.json.decode(EXAMPLE.read_bytes(), type=SupplyHeadroomQuestion)
    actual = answer(question)

    assert (actual.outcome.status, actual.edition) == ("solved", EDITION)
    assert actual.question == question
