"""The electrical budget that the tests of `supply-headroom` start from."""

from typing import Any

import msgspec

from loopmargin_service.questions.supply_headroom import answer
from loopmargin_wire.answer import Margin
from loopmargin_wire.supply_headroom import SupplyHeadroomAnswer, SupplyHeadroomQuestion

BUDGET: dict[str, Any] = {
    "processor": {"sustained_w": 300, "peak_over_sustained": 436.8 / 300},
    "cards": [{"sustained_w": 300}],
    "rest_w": 150,
    "supply": {
        "rated_w": 750,
        "allowance": {"kind": "published_staircase", "high_power_connector": True},
        "efficiency": {"kind": "tier", "tier": "gold"},
        "mains_voltage_v": 115,
    },
    "inlet_c": 40,
}


def ask(**changes: object) -> SupplyHeadroomAnswer:
    """Answer the budget above with some of its fields replaced."""
    return answer(msgspec.convert({**BUDGET, **changes}, SupplyHeadroomQuestion))


def supply(**changes: object) -> dict[str, Any]:
    """Replace fields of the supply of the budget."""
    return {**BUDGET["supply"], **changes}


def margin_of(given_answer: SupplyHeadroomAnswer, criterion: str) -> Margin:
    """Find the one margin of this criterion."""
    (found,) = [row for row in given_answer.margins if row.criterion == criterion]
    return found


def codes(given_answer: SupplyHeadroomAnswer) -> set[str]:
    """Collect the codes of all notes."""
    return {note.code for note in given_answer.notes}
