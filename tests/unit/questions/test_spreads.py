"""What draws say of a quantity: intervals, budgets, digits, and when the linear method holds."""

import math
from statistics import NormalDist

import numpy as np
import pytest

from loopmargin_service.physics.network import Array
from loopmargin_service.questions.draws import Cause, Draws, draw
from loopmargin_service.questions.spreads import Quantity, rounded, simulation, support_notes
from loopmargin_wire.uncertainty import Drawing, Simulation, Spread
from tests.unit.questions.test_draws import question

FIRST = Cause("first", 0.3, "here")
SECOND = Cause("second", 0.4, "here", law=True)


def drawn(draws: int = 20_000) -> Draws:
    """Draw two causes."""
    return draw(question(), Drawing(draws=draws), (FIRST, SECOND))


def spread(values: Array, some: Draws, confidence: float = 0.95) -> Spread:
    """Describe one quantity."""
    return simulation(some, [Quantity("sum", "W", values)], confidence).spreads[0]


def linear(some: Draws) -> Array:
    """Give a sum of 3 and 4 times the normal numbers about ten."""
    return np.asarray(10.0 + 3.0 * some.normal[0] + 4.0 * some.normal[1])


def test_a_linear_sum_is_known_in_closed_form() -> None:
    """Deviation 5, interval 10 -+ 1.96 * 5, and 9 and 16 parts of 25, within four errors."""
    some = drawn()
    found = spread(linear(some), some)

    assert found.standard_uncertainty == pytest.approx(5.0, abs=4 * 5.0 / math.sqrt(40_000))
    half = 5.0 * NormalDist().inv_cdf(0.975)
    assert (found.low, found.high) == pytest.approx((10.0 - half, 10.0 + half), abs=0.6)
    assert found.linear_agrees
    assert [row.cause for row in found.budget] == ["second", "first"]
    assert [row.share for row in found.budget] == pytest.approx([0.64, 0.36], abs=0.03)
    assert [row.kind for row in found.budget] == ["law", "input"]


def test_a_square_is_not_believed_to_be_linear() -> None:
    """A quantity that bends wholly has no first-order budget, and the check says so."""
    some = drawn()
    found = spread(np.square(some.normal[0]), some)

    assert not found.linear_agrees
    assert sum(row.share for row in found.budget) < 0.02


def test_ends_have_the_error_of_their_draws() -> None:
    """For a normal quantity of a thousand draws an end is known to 0.085 deviations."""
    some = drawn(1000)
    found = spread(some.normal[0], some)

    assert found.low_error == pytest.approx(0.085, rel=1.0)
    assert found.high_error == pytest.approx(0.085, rel=1.0)
    assert found.standard_uncertainty_error == pytest.approx(0.022, abs=0.003)


@pytest.mark.parametrize(
    ("value", "error", "expected"),
    [(44.7234, 0.16, 44.7), (1234.5, 30.0, 1230.0), (0.123456, 0.002, 0.123), (1.5, 0.0, 1.5)],
)
def test_digits_end_where_the_error_begins(value: float, error: float, expected: float) -> None:
    """A number is rounded to the place of the first digit of its error."""
    assert rounded(value, error) == expected


def test_certain_things_are_certain() -> None:
    """Without causes the interval is a point and the budget is empty."""
    some = draw(question(), Drawing(), ())
    found = spread(np.full(1000, 7.0), some)

    assert (found.low, found.high, found.standard_uncertainty) == (7.0, 7.0, 0.0)
    assert found.budget == ()
    assert found.linear_agrees


def test_unsettled_draws_are_left_out() -> None:
    """The share that settled is stated, the others do not stand in the spread."""
    some = drawn(1000)
    settled = np.arange(1000) < 900
    rows = [Quantity("sum", "W", np.where(settled, linear(some), np.nan))]
    found = simulation(some, rows, 0.95, settled)

    assert found.settled_share == 0.9
    assert found.spreads[0].best_estimate == pytest.approx(10.0, abs=1.0)
    assert [note.code for note in support_notes(found)] == ["draws_without_answer"]


def test_too_few_settled_draws_describe_nothing() -> None:
    """Nineteen cases are no distribution."""
    some = drawn(1000)
    rows = [Quantity("sum", "W", linear(some))]
    assert simulation(some, rows, 0.95, np.arange(1000) < 19).spreads == ()


def test_a_quantity_that_some_draws_do_not_have_is_left_out() -> None:
    """An area that is infinite in one draw has no spread."""
    some = drawn(1000)
    rows = [Quantity("area", "cm2", np.where(np.arange(1000) == 7, np.inf, 1.0))]
    assert simulation(some, rows, 0.95).spreads == ()


@pytest.mark.parametrize(
    ("draws", "confidence", "codes"),
    [(1000, 0.95, []), (200, 0.95, ["draws_support_less"]), (1000, 0.99, ["draws_support_less"])],
)
def test_notes_say_what_the_draws_support(draws: int, confidence: float, codes: list[str]) -> None:
    """Ten draws beyond each end are asked for: 400 for 95 %, 2000 for 99 %."""
    some = drawn(draws)
    found: Simulation = simulation(some, [], confidence)
    notes = support_notes(found)

    assert [note.code for note in notes] == codes
    assert all(f"{round(20 / (1 - confidence))} draws" in note.text for note in notes)


def test_without_draws_a_note_says_so() -> None:
    """No chance is claimed that was not drawn."""
    assert [note.code for note in support_notes(None)] == ["not_drawn"]
