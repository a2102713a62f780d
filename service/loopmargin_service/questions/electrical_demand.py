"""The demand of a question: every load over every window, with its uncertainty."""

from typing import Final, NamedTuple, get_args

import numpy as np
from numpy.typing import NDArray

from loopmargin_service.physics import excursion
from loopmargin_service.physics import supply as supplies
from loopmargin_wire.supply_headroom import (
    AddInCardLimit,
    Excursion,
    MeasuredExcursion,
    NoExcursion,
    SupplyHeadroomQuestion,
    Window,
)

WINDOW_NAMES: Final[tuple[Window, ...]] = get_args(Window)
WINDOWS: Final = np.array(excursion.WINDOWS)
_CARD_LIMIT: Final = excursion.card_factor(WINDOWS)
_STEADY: Final = np.ones(len(WINDOW_NAMES))


class Demand(NamedTuple):
    """Power of every load over each window, (loads, windows), the last window without end.

    The sum is linear, so that its standard uncertainty is exact (JCGM 100:2008, 5.1).
    """

    loads: NDArray[np.float64]
    power: NDArray[np.float64]
    uncertainty: NDArray[np.float64]

    @property
    def sustained(self) -> float:
        """Power without end. [W]"""
        return float(self.power[-1])


def electrical_demand(question: SupplyHeadroomQuestion) -> Demand:
    """Add up the loads of every window; equal cards are equally wrong, different loads are not."""
    processor, cards, others = question.processor, question.cards, question.others
    power = [
        processor.sustained_w,
        *(card.sustained_w * card.count for card in cards),
        *(load.sustained_w for load in others),
        question.rest_w,
    ]
    factors = [
        peak_factor(processor.peak_over_sustained),
        *(excursion_factor(card.excursion) for card in cards),
        *(peak_factor(load.peak_over_sustained) for load in others),
        _STEADY,
    ]
    relative = [
        processor.relative_uncertainty,
        *(card.relative_uncertainty for card in cards),
        *(load.relative_uncertainty for load in others),
        question.rest_relative_uncertainty,
    ]
    loads = supplies.demand(power, np.stack(factors))
    deviations = loads * np.array(relative)[:, None]
    return Demand(loads, loads.sum(axis=0), np.sqrt((deviations**2).sum(axis=0)))


def peak_factor(peak_over_sustained: float) -> NDArray[np.float64]:
    """Give power over sustained power of a load with peaks up to 10 ms, for every window. [-]"""
    return excursion.processor_factor(WINDOWS, peak_over_sustained)


def excursion_factor(stated: Excursion) -> NDArray[np.float64]:
    """Give power over sustained power of a card, for every window. [-]"""
    match stated:
        case AddInCardLimit():
            return _CARD_LIMIT
        case NoExcursion():
            return _STEADY
        case measured:
            return excursion.measured_factor((*measured_peaks(measured), 1.0, 1.0))


def measured_peaks(measured: MeasuredExcursion) -> tuple[float, float, float, float]:
    """Give the measured peaks, shortest window first."""
    return (
        measured.peak_over_sustained_100_us,
        measured.peak_over_sustained_1_ms,
        measured.peak_over_sustained_10_ms,
        measured.peak_over_sustained_100_ms,
    )
