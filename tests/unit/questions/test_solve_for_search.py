"""Windows that hide between two values tried are found, down to the width that is stated."""

import math
from collections.abc import Callable

import pytest
from hypothesis import assume, example, given
from hypothesis import strategies as st

from loopmargin_service.questions.refusals import Refusal
from loopmargin_service.questions.solve_for_judge import UNSETTLED, Judge, Judged, Standing
from loopmargin_service.questions.solve_for_search import (
    GRID,
    MOST_TRIED,
    first_that_holds,
    grid,
    search,
)
from loopmargin_wire import solve_for

LOW, HIGH = 0.2, 2.0
WIDTH = HIGH - LOW
NARROWEST = WIDTH / 32768
STEP = WIDTH / 8 / 256

places = st.floats(LOW, HIGH)
Surplus = Callable[[float], float]


class Made(Judged):
    """A value of criteria that are made up, or of trouble."""

    def __init__(self, value: float, surpluses: dict[str, float], trouble: str = "") -> None:
        super().__init__(value, Refusal())
        self.trouble = trouble
        self.standings = {
            name: Standing(met=left >= 0.0, chance=float(left >= 0.0), surplus=left)
            for name, left in surpluses.items()
        }


def judge(limit: float = -math.inf, **criteria: Surplus) -> Judge:
    """Judge by some criteria; below a limit there are no numbers."""

    def judged(value: float) -> Judged:
        if value < limit:
            return Made(value, {}, UNSETTLED)
        return Made(value, {name: surplus(value) for name, surplus in criteria.items()})

    return judged


def window(low: float, high: float, limit: float = -math.inf) -> Judge:
    """Judge by one criterion that holds above, and another that holds below."""
    return judge(limit, heat=lambda value: value - low, noise=lambda value: high - value)


def looked(judged: Judge, *, least: bool = True) -> list[Judged]:
    """Search the range from one of its ends."""
    return search(judged, grid(LOW, HIGH, whole=False)[:: 1 if least else -1], whole=False)


@given(low=places, width=st.floats(NARROWEST, WIDTH), least=st.booleans(), below=st.floats(0, 2))
@example(low=1.031, width=0.034, least=True, below=2.0)
@example(low=0.2 + WIDTH / 16 * 1.001, width=NARROWEST, least=False, below=2.0)
def test_a_window_as_wide_as_stated_is_found(
    low: float, width: float, below: float, *, least: bool
) -> None:
    """Wherever it lies, and whether or not the machine settles far below it."""
    high = low + width
    assume(high <= HIGH)
    tried = looked(window(low, high, low - below), least=least)
    first = first_that_holds(tried)

    assert first is not None
    assert low <= tried[first].value <= high
    assert len(tried) <= MOST_TRIED
    end = low if least else high
    off = abs(tried[first].value - end)
    if first:
        assert off <= abs(tried[first].value - tried[first - 1].value) <= STEP * 1.001
    else:
        assert off < 1e-9


def test_the_width_and_the_number_of_tries_are_what_the_wire_says() -> None:
    """Callers read them there."""
    said = solve_for.SolveForQuestion.__doc__ or ""

    assert "1/32768" in said
    assert f"at most {MOST_TRIED} values" in said


@given(low=places, gap=st.floats(1e-9, WIDTH))
def test_limits_that_exclude_each_other_leave_nothing(low: float, gap: float) -> None:
    """No window is made up, and the search ends."""
    tried = looked(window(low, low - gap))

    assert first_that_holds(tried) is None
    assert len(tried) <= MOST_TRIED


@given(at=st.floats(LOW + WIDTH / 8, HIGH - WIDTH / 8), half=st.floats(WIDTH / 100, WIDTH / 10))
def test_a_criterion_that_is_best_inside_the_range_is_found(at: float, half: float) -> None:
    """It fails on both sides of a peak that lies between values of the first look."""
    tried = looked(judge(heat=lambda value: half**2 - (value - at) ** 2))
    first = first_that_holds(tried)

    assert first is not None
    assert abs(tried[first].value - at) <= half
    assert abs(tried[first].value - (at - half)) <= STEP * 1.001


def test_a_criterion_that_never_changes_is_not_looked_at_more_closely() -> None:
    """Nor one that only gets better towards an end."""
    flat = looked(judge(supply=lambda _: -0.1))
    rising = looked(judge(heat=lambda value: value - 3.0))

    assert len(flat) == len(rising) == GRID


def test_no_window_is_sought_beside_values_without_numbers_that_heat_leads_to() -> None:
    """What fails gets worse towards them."""
    tried = looked(judge(0.6, heat=lambda value: value - 3.0))

    assert len(tried) == GRID


@pytest.mark.parametrize("least", [True, False])
@given(low=st.integers(-50, 400), count=st.integers(1, 400), first=st.integers(-60, 400))
def test_whole_numbers_are_exact(low: int, count: int, first: int, *, least: bool) -> None:
    """Only whole numbers are tried, and the one beyond the answer is one of them."""
    ends = low - 0.3, low + count + 0.4
    values = grid(*ends, whole=True)[:: 1 if least else -1]
    tried = search(window(first - 0.5, first + 7.5), values, whole=True)
    holding = sorted(value for value in range(first, first + 8) if low <= value <= low + count)

    assert all(one.value.is_integer() and ends[0] < one.value < ends[1] for one in tried)
    assert len({one.value for one in tried}) == len(tried) <= MOST_TRIED
    place = first_that_holds(tried)
    found = None if place is None else tried[place].value
    assert found == (None if not holding else holding[0] if least else holding[-1])


def test_the_search_ends_when_it_has_tried_enough() -> None:
    """A narrow peak in a very wide range of whole numbers is found, its edge only closed in on."""
    peak = judge(heat=lambda value: 4000.0**2 - (value - 180_000.0) ** 2)
    tried = search(peak, grid(-1e6, 1e6, whole=True), whole=True)
    first = first_that_holds(tried)

    assert len(tried) == MOST_TRIED
    assert first is not None
    assert abs(tried[first].value - 180_000.0) <= 4000.0
