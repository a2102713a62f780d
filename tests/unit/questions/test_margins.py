"""The margin: surplus, chance and verdict."""

import math

import msgspec
import numpy as np
import pytest

from loopmargin_service.questions.margins import failing, fails, margin
from loopmargin_wire.answer import Outcome


def test_surplus_is_capacity_minus_demand() -> None:
    """The surplus is what is left of the capacity."""
    expected = (2.5, "meets", None, None, None)
    actual = margin("head", 3.0, 5.5, "m", 0.95)
    uncertain = (actual.standard_uncertainty, actual.chance, actual.chance_standard_error)
    assert expected == (actual.surplus, actual.verdict, *uncertain)


def test_a_negative_surplus_fails_whatever_was_drawn() -> None:
    """A best estimate below zero fails even when most draws hold."""
    actual = margin("head", 5.0, 4.9, "m", 0.5, np.linspace(-1.0, 9.0, 1001))
    assert (actual.verdict, actual.chance) == ("fails", pytest.approx(901 / 1001))


@pytest.mark.parametrize(("confidence", "expected"), [(0.95, "tight"), (0.84, "meets")])
def test_tight_is_holding_without_the_confidence(confidence: float, expected: str) -> None:
    """With nine draws of ten above zero, nine tenths are the confidence that there is."""
    left = np.linspace(-1.0, 9.0, 1001)
    assert expected == margin("flow", 1.0, 3.0, "L/min", confidence, left).verdict


def test_the_uncertainty_is_the_deviation_of_the_surplus() -> None:
    """Draws at -1 and 1 in equal numbers: the standard deviation is 1, and a half holds."""
    actual = margin("flow", 1.0, 3.0, "L/min", 0.95, np.tile([-1.0, 1.0], 500))
    assert (actual.standard_uncertainty, actual.chance) == (1.0, 0.5)
    assert actual.chance_standard_error == 0.016


@pytest.mark.parametrize(("held", "expected"), [(1000, 0.00071), (0, 0.00071), (950, 0.0069)])
def test_no_count_of_draws_is_certain(held: int, expected: float) -> None:
    """A thousand of a thousand leave a doubt of about one in a thousand."""
    left = np.repeat([1.0, -1.0], [held, 1000 - held])
    actual = margin("flow", 1.0, 3.0, "L/min", 0.95, left)
    assert (actual.chance, actual.chance_standard_error) == (held / 1000, expected)


def test_draws_without_an_answer_do_not_hold() -> None:
    """They count against the chance, and the deviation is that of the others."""
    left = np.concatenate([np.full(400, -math.inf), np.tile([1.0, 3.0], 300)])
    actual = margin("flow", 1.0, 3.0, "L/min", 0.5, left)
    assert (actual.chance, actual.standard_uncertainty) == (0.6, 1.0)


def test_few_surpluses_have_no_deviation() -> None:
    """When most draws have no answer, no standard uncertainty is stated."""
    left = np.concatenate([np.full(600, -math.inf), np.full(400, 1.0)])
    assert margin("flow", 1.0, 3.0, "L/min", 0.5, left).standard_uncertainty is None


def test_only_what_fails_is_named() -> None:
    """A criterion that contains a comma still stands apart from the next."""
    short, enough = (margin(name, 2.0, have, "m", 0.95) for name, have in (("a, b", 1), ("c", 3)))
    assert fails([*failing([short, enough]), "d"]) == "fails: a, b; d"


def test_a_reason_of_very_many_criteria_is_one_that_clients_accept() -> None:
    """A machine of forty overheated parts with long names still gets an answer of the schema."""
    reason = fails(["temperature of " + "n" * 80] * 40)
    outcome = {"status": "solved", "reason": reason}
    assert msgspec.convert(outcome, Outcome).reason.startswith("fails: temperature of n")
