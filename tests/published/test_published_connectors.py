"""Printed limits of card connectors.

A: Document 336521, ATX Version 3.0 Multi Rail Desktop Platform Power Supply Design Guide,
   rev. 2.01, Feb. 2023, Table 3-5 (+12 V, range +5 % / -8 %).
"""

import pytest

from loopmargin_service.physics.connector import CARD_RATINGS, RISE_AT_RATING, contact_rise
from tests.published.printed import Printed

pytestmark = pytest.mark.law("connector.contact_rise")

# Table 4-2 prints 11.20 V beside -7 %, which would be 11.16 V.
LOWEST_SUPPLY_VOLTAGE = 11.20

ROWS = [
    (CARD_RATINGS["card_six_pin"].power, Printed("A, 2x3 sustained", "75", "W")),
    (CARD_RATINGS["card_eight_pin"].power, Printed("A, 2x4 sustained", "150", "W")),
    (CARD_RATINGS["twelve_contact"].power, Printed("A, 12VHPWR sustained", "600", "W")),
    (CARD_RATINGS["card_six_pin"].rms_current, Printed("A, 2x3 RMS", "6.75", "A")),
    (CARD_RATINGS["card_eight_pin"].rms_current, Printed("A, 2x4 RMS", "13.5", "A")),
    (CARD_RATINGS["twelve_contact"].rms_current, Printed("A, 12VHPWR RMS", "55", "A")),
    (CARD_RATINGS["twelve_contact"].pin, Printed("A chapter 5, 12VHPWR contact", "9.2", "A")),
    (CARD_RATINGS["card_six_pin"].pin, Printed("A chapter 5, 2x3 contact", "8.0", "A")),
    (CARD_RATINGS["card_eight_pin"].pin, Printed("from memory, 2x4 contact", "7.0", "A")),
]


@pytest.mark.law("connector.CARD_RATINGS")
@pytest.mark.parametrize(("rating", "row"), ROWS)
def test_rating(rating: float, row: Printed) -> None:
    """The limits are those printed."""
    row.check(rating)


@pytest.mark.parametrize("name", CARD_RATINGS)
def test_rms_limit_covers_the_power_at_the_lowest_supply_voltage(name: str) -> None:
    """Steady full power at the 11.20 V of Table 4-2 is within the RMS limit.

    At the card's own lower limit of 12 V - 8 % = 11.04 V it is so for the 600 W connector
    only: 75 W and 150 W reach their RMS limits at 11.11 V already.
    """
    rating = CARD_RATINGS[name]
    assert rating.power / LOWEST_SUPPLY_VOLTAGE < rating.rms_current


def test_rise_at_rating() -> None:
    """A contact at its rating rises by the 30 K that the rating is stated for."""
    Printed("A section 5.2.2.4, rise above ambient", "30", "K").check(float(contact_rise(9.2, 9.2)))
    assert RISE_AT_RATING == 30.0
