"""The margin: surplus, chance and verdict."""

import math

import msgspec
import pytest

from loopmargin_service.questions.margins import chance_of_holding, failing, fails, margin
from loopmargin_wire.answer import Outcome


def test_surplus_is_capacity_minus_demand() -> None:
    """The surplus is what is left of the capacity."""
    expected = (2.5, "meets", None, None)
    actual = margin("head", 3.0, 5.5, "m", None, 0.95)
    numbers = (actual.surplus, actual.verdict, actual.chance, actual.standard_uncertainty)
    assert expected == numbers


def test_a_negative_surplus_fails_however_uncertain() -> None:
    """A best estimate below zero fails even when the chance of holding is large."""
    actual = margin("head", 5.0, 4.9, "m", 1.0, 0.5)
    assert (actual.verdict, actual.chance) == ("fails", pytest.approx(0.4601722, abs=5e-8))


@pytest.mark.parametrize(
    ("confidence", "expected"),
    [(0.95, "tight"), (0.84, "meets")],
)
def test_tight_is_holding_without_the_confidence(confidence: float, expected: str) -> None:
    """One standard uncertainty of surplus holds with a chance of 0.8413, no more."""
    assert expected == margin("flow", 1.0, 3.0, "L/min", 2.0, confidence).verdict


@pytest.mark.parametrize(
    ("surplus_in_uncertainties", "expected"),
    [(0.0, 0.5), (1.0, 0.8413), (1.645, 0.9500), (1.96, 0.9750), (-2.0, 0.0228)],
)
def test_chance_is_the_normal_distribution(
    surplus_in_uncertainties: float, expected: float
) -> None:
    """The chance follows the printed table of the standard normal distribution."""
    assert expected == pytest.approx(
        chance_of_holding(2.0 * surplus_in_uncertainties, 2.0), abs=5e-5
    )


@pytest.mark.parametrize(("surplus", "expected"), [(0.0, 1.0), (1.0, 1.0), (-1e-9, 0.0)])
def test_no_uncertainty_is_certainty(surplus: float, expected: float) -> None:
    """With an uncertainty of zero the sign of the surplus decides."""
    assert expected == chance_of_holding(surplus, 0.0)


def test_far_tails_stay_finite() -> None:
    """Hundreds of uncertainties away the chance is zero or one, never broken."""
    assert all(math.isfinite(chance_of_holding(s, 1e-9)) for s in (-1e9, 1e9))


def test_only_what_fails_is_named() -> None:
    """A criterion that contains a comma still stands apart from the next."""
    short, enough = (
        margin(name, 2.0, have, "m", None, 0.95) for name, have in (("a, b", 1), ("c", 3))
    )
    assert fails([*failing([short, enough]), "d"]) == "fails: a, b; d"


def test_a_reason_of_very_many_criteria_is_one_that_clients_accept() -> None:
    """A machine of forty overheated parts with long names still gets an answer of the schema."""
    reason = fails(["temperature of " + "n" * 80] * 40)
    outcome = {"status": "solved", "reason": reason}
    assert msgspec.convert(outcome, Outcome).reason.startswith("fails: temperature of n")
