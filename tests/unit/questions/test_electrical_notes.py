"""Notes, sources and cautions of `supply-headroom`."""

from typing import Any

import pytest

from tests.unit.questions.budget import ask, codes, supply


@pytest.mark.parametrize(
    ("changes", "code"),
    [
        ({"supply": supply(allowance={"kind": "none"})}, "no_published_allowance"),
        ({"supply": supply(allowance={"kind": "none"})}, "card_limit_not_guaranteed"),
        ({"supply": supply(standard_ratings_w=[400])}, "no_common_rating_suffices"),
        ({"altitude_m": 1500}, "altitude_lowers_rated_inlet"),
        ({"cards": [{"sustained_w": 700}]}, "card_above_largest"),
        ({}, "efficiency_is_the_least_of_its_tier"),
    ],
)
def test_notes(changes: dict[str, Any], code: str) -> None:
    """Each assumption and each edge of a law is said."""
    assert code in codes(ask(**changes))


def test_plain_question_has_no_other_note() -> None:
    """Nothing is noted without cause."""
    assert codes(ask()) == {"efficiency_is_the_least_of_its_tier"}


def test_measured_peaks_that_contradict_physics_are_raised_and_noted() -> None:
    """A mean of 100 ms cannot exceed that of its own shorter parts."""
    measured = {
        "kind": "measured",
        "peak_over_sustained_100_us": 1.5,
        "peak_over_sustained_1_ms": 2.0,
        "peak_over_sustained_10_ms": 1.2,
        "peak_over_sustained_100_ms": 1.1,
    }
    raised = ask(cards=[{"sustained_w": 100, "excursion": measured}])

    assert "measured_peak_raised" in codes(raised)
    assert raised.state.windows[0].demand_w == raised.state.windows[1].demand_w


def test_points_that_do_not_reach_the_load_are_noted() -> None:
    """A load outside of the measured points is said."""
    efficiency = {"kind": "points", "points": [{"load_fraction": 0.2, "efficiency": 0.9}]}
    noted = ask(supply=supply(efficiency=efficiency))
    assert "load_outside_efficiency_points" in codes(noted)


def test_cautions_defer_to_licensed_practice() -> None:
    """Every answer says what can hurt; thin air adds the label of the supply."""
    usual, high = ask().cautions, ask(altitude_m=2500).cautions

    assert "local code and a licensed electrician" in usual[0]
    assert any("Never open a power supply" in caution for caution in usual)
    assert set(high) - set(usual) == {high[-1]}
    assert "2000 m" in high[-1]


@pytest.mark.parametrize(
    ("changes", "sources"),
    [
        ({}, ["Table 3-3", "Card Electromechanical", "115 V internal"]),
        ({"supply": supply(efficiency={"kind": "tier", "tier": "gold", "certified_at": "230_v"})},
         ["230 V internal set, from memory"]),
        ({"supply": supply(allowance={"kind": "legacy_flat"})}, ["Common practice, no source"]),
        ({"supply": supply(allowance={"kind": "none"})}, ["As asked"]),
        ({"supply": supply(efficiency={"kind": "points", "points": [
            {"load_fraction": 0.5, "efficiency": 0.9}]})}, ["doi:10.1137/0905021"]),
    ],
)  # fmt: skip
def test_basis_names_the_sources_used(changes: dict[str, Any], sources: list[str]) -> None:
    """The sources of exactly the laws that were used are listed."""
    listed = " | ".join(row.source for row in ask(**changes).basis)
    for source in sources:
        assert source in listed
