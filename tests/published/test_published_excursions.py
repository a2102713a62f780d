"""Printed excursion tables of supplies, cards and processors.

S: Document 613768, ATX12VO (12V Only) Desktop Power Supply Design Guide, rev. 2.01, Jan. 2023.
D: Document 336521, ATX Version 3.0 Multi Rail Desktop Platform Power Supply Design Guide,
   rev. 2.0, Feb. 2022.
C: PCI-SIG, PCI Express Card Electromechanical Specification 5.0: for members, not read; the
   three values below are those that articles on it report.
M: public manual of a 750 W supply, test conditions of its excursions.
"""

import numpy as np
import pytest

from loopmargin_service.physics.excursion import (
    LOWER_COLUMN,
    TEST_DUTY,
    UPPER_COLUMN,
    WINDOWS,
    allowance,
    card_factor,
    processor_factor,
    recovery_level,
)
from loopmargin_service.physics.supply import demand
from loopmargin_wire.supply_headroom import Processor
from tests.published.printed import Printed

STEPS = (100e-6, 1e-3, 10e-3, 100e-3, np.inf)

STAIRCASE = [
    (column, window, Printed(f"S Table 3-3, {name}, {window:g} s", printed, "%"))
    for name, column, prints in (
        ("above 450 W with 12VHPWR", UPPER_COLUMN, ("200", "180", "160", "120", "100")),
        ("up to 450 W or without", LOWER_COLUMN, ("150", "145", "135", "110", "100")),
    )
    for window, printed in zip(STEPS, prints, strict=True)
]


@pytest.mark.law("excursion.allowance")
@pytest.mark.parametrize(("column", "window", "row"), STAIRCASE)
def test_staircase(column: tuple[float, ...], window: float, row: Printed) -> None:
    """The allowance at every tabulated duration is the one printed."""
    row.check(float(100.0 * allowance(window, column)))


LOW_LEVELS = [
    (rated, index, Printed(f"{where}, {duty} duty", printed, "W"))
    for where, rated, prints in (
        ("S Table 3-4, 1000 W", 1000.0, ("918", "897", "882", "924")),
        ("M, 750 W", 750.0, ("688.2", "673", "661.2", "692.8")),
    )
    for index, (duty, printed) in enumerate(
        zip(("5 %", "8 %", "12.5 %", "25 %"), prints, strict=True)
    )
]


@pytest.mark.law("excursion.recovery_level")
@pytest.mark.parametrize(("rated", "index", "row"), LOW_LEVELS)
def test_low_level_of_the_excursion_test(rated: float, index: int, row: Printed) -> None:
    """The level between excursions keeps the RMS at the rating.

    Table 3-4 prints the long time under the sign of the excursion; the powers show that the
    short time is meant.
    """
    row.check(float(rated * recovery_level(UPPER_COLUMN[index], TEST_DUTY[index])))


CARD_POINTS = [
    (100e-6, Printed("C as reported in two articles, 100 us", "3", "times sustained")),
    (10e-3, Printed("C as reported in one article, 10 ms", "2", "times sustained")),
    (1.0, Printed("D Table 3-5, note: sustained is the mean of 1 s", "1", "times sustained")),
]


@pytest.mark.law("excursion.card_factor")
@pytest.mark.parametrize(("window", "row"), CARD_POINTS)
def test_card_limit(window: float, row: Printed) -> None:
    """The law passes through every point that was reported; the line between is from memory."""
    assert float(row.printed) == pytest.approx(float(card_factor(window)), rel=1e-12)
    row.check(float(card_factor(window)))


PROCESSOR_CURRENTS = [
    (37.5, Printed("D Table 2-1, 165 W class, peak", "40", "A")),
    (26.0, Printed("D Table 2-1, 125 W class, peak", "39", "A")),
    (23.0, Printed("D Table 2-1, 65 W class, peak", "34", "A")),
    (11.0, Printed("D Table 2-1, 35 W class, peak", "19", "A")),
]


@pytest.mark.law("excursion.processor_factor")
@pytest.mark.parametrize(("continuous", "row"), PROCESSOR_CURRENTS)
def test_processor_peak(continuous: float, row: Printed) -> None:
    """The peak is there up to 10 ms and gone at 100 ms, for every printed class."""
    ratio = float(row.printed) / continuous
    peak, later = continuous * processor_factor(np.array([10e-3, 100e-3]), ratio)

    row.check(float(peak))
    assert later == continuous


def test_default_processor_peak_is_that_of_the_125_w_class() -> None:
    """A processor of unknown peak is given the ratio of the printed 125 W class: 39 to 26 A."""
    assert Processor(sustained_w=300.0).peak_over_sustained == 39.0 / 26.0


def test_staircase_is_rebuilt_from_its_own_budget() -> None:
    """The budget behind the table needs what the table allows, and at most 2 points less.

    300 W card, processor of 26 A (300 W as the guide rounds it) with a peak of 39 A at
    11.2 V, 150 W for the rest and a supply of 750 W. The guide says that the table follows
    from such budgets; which row of Table 3-2 was not read.
    """
    windows = np.array(WINDOWS)
    factors = [processor_factor(windows, 39 * 11.2 / 300.0), card_factor(windows), np.ones(6)]
    percent = demand([300.0, 300.0, 150.0], factors).sum(axis=0) / 7.5

    allowed = 100.0 * allowance(windows, UPPER_COLUMN)

    assert (percent <= allowed + 1e-9).all()
    assert (percent >= allowed - 2.0).all()
