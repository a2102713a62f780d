"""What an answer on the supply has to add: assumptions, and laws at their limits."""

from collections.abc import Iterator

import numpy as np

from loopmargin_service.physics import excursion
from loopmargin_service.physics import supply as supplies
from loopmargin_service.physics.air import STANDARD_PRESSURE, standard_pressure
from loopmargin_service.questions.electrical_connectors import connector_notes
from loopmargin_service.questions.electrical_demand import measured_peaks
from loopmargin_wire.answer import Note
from loopmargin_wire.supply_headroom import (
    AddInCardLimit,
    Card,
    EfficiencyPoints,
    EfficiencyTier,
    HeadroomState,
    MeasuredExcursion,
    PublishedStaircase,
    SupplyHeadroomQuestion,
)


def electrical_notes(question: SupplyHeadroomQuestion, state: HeadroomState) -> Iterator[Note]:
    """List what is assumed, near a limit or outside of a law."""
    yield from _supply_notes(question, state)
    yield from _efficiency_notes(question, state)
    for index, card in enumerate(question.cards):
        yield from _card_notes(card, f"/cards/{index}")
    yield from connector_notes(question.connectors, state.connectors)


def _supply_notes(question: SupplyHeadroomQuestion, state: HeadroomState) -> Iterator[Note]:
    if not isinstance(question.supply.allowance, PublishedStaircase):
        yield Note(
            code="no_published_allowance",
            text="This supply is not declared to carry the published excursions; where its "
            "protection trips is unknown, so the allowance is an assumption of the question.",
            pointer="/supply/allowance",
        )
    if state.next_common_rating_w is None:
        yield Note(
            code="no_common_rating_suffices",
            text="None of the listed ratings suffices with the margin asked for; add larger "
            "ones, cool the inlet or lower the load.",
            pointer="/supply/standard_ratings_w",
        )
    if _limit_not_guaranteed(question):
        yield Note(
            code="card_limit_not_guaranteed",
            text="The limit on card peaks is written for cards on the high-power connector; "
            "older cards have been seen to exceed any limit, so measure theirs if you can.",
            pointer="/cards",
        )
    if question.altitude_m > supplies.ALTITUDE_WITHOUT_EFFECT:
        ratio = float(standard_pressure(question.altitude_m)) / STANDARD_PRESSURE
        yield Note(
            code="altitude_lowers_rated_inlet",
            text=f"At {question.altitude_m:.0f} m air of equal temperature is {ratio:.2f} times "
            "as dense as at sea level; for that the full rating is taken to end at "
            f"{state.full_rating_up_to_c:.1f} degC.",
            pointer="/altitude_m",
        )


def _efficiency_notes(question: SupplyHeadroomQuestion, state: HeadroomState) -> Iterator[Note]:
    efficiency, here = question.supply.efficiency, "/supply/efficiency"
    if isinstance(efficiency, EfficiencyTier):
        yield Note(
            code="efficiency_is_the_least_of_its_tier",
            text="The efficiency is the least that the tier allows and good to about 1.5 points; "
            "a unit's own measured points are better. Very warm inlet or 100 V mains cost up to "
            "1.5 points more.",
            pointer=here,
        )
    elif state.mains is not None and not _covered(efficiency, state.mains.load_fraction):
        yield Note(
            code="load_outside_efficiency_points",
            text=f"The load fraction {state.mains.load_fraction:.3f} is outside the points given; "
            "the nearest one is carried on.",
            pointer=f"{here}/points",
        )


def _limit_not_guaranteed(question: SupplyHeadroomQuestion) -> bool:
    allowance = question.supply.allowance
    high_power = isinstance(allowance, PublishedStaircase) and allowance.high_power_connector
    limited = any(isinstance(card.excursion, AddInCardLimit) for card in question.cards)
    return limited and not high_power


def _covered(efficiency: EfficiencyPoints, load_fraction: float) -> bool:
    loads = [point.load_fraction for point in efficiency.points]
    return min(loads) <= load_fraction <= max(loads)


def _card_notes(card: Card, pointer: str) -> Iterator[Note]:
    if card.sustained_w > excursion.LARGEST_CARD:
        yield Note(
            code="card_above_largest",
            text=f"{card.name} draws {card.sustained_w:.0f} W; the largest card that the add-in "
            f"card specification knows draws {excursion.LARGEST_CARD:.0f} W.",
            pointer=f"{pointer}/sustained_w",
        )
    if isinstance(card.excursion, MeasuredExcursion):
        measured = np.array(measured_peaks(card.excursion))
        if np.any(excursion.measured_factor(measured) > measured):
            yield Note(
                code="measured_peak_raised",
                text=f"A longer window of {card.name} was measured higher than a shorter one, "
                "which no load can do; the shorter one was raised to it.",
                pointer=f"{pointer}/excursion",
            )
