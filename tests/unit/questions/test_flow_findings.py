"""Machines whose coolant does not flow as it should: flow is blamed before heat."""

from typing import Any

import msgspec
import pytest

from loopmargin_service.questions import steady_state
from loopmargin_wire.steady_state import SteadyStateAnswer, SteadyStateQuestion
from tests.unit.questions.asked import Changes, changed
from tests.unit.questions.invented import BASE
from tests.unit.questions.sound import broken_promises

TUBE, _, CARD, PROCESSOR, *_ = BASE["branches"][0]["elements"]
PUMP = BASE["pumps"][0]
THIN = {**TUBE, "name": "thin tube", "bore_mm": 2, "length_mm": 5000}
REST = BASE["branches"][0]["elements"][4:]


def apart(changes: Changes | None = None) -> dict[str, Any]:
    """Give the example with each block in a branch of its own."""
    ends = {"from_node": "delivery", "to_node": "warm", "required_flow_l_per_min": 0.5}
    branches = [
        {"name": "card side", "elements": [TUBE, CARD], **ends},
        {"name": "processor side", "elements": [TUBE, PROCESSOR], **ends},
        {"name": "way back", "elements": REST, "from_node": "warm", "to_node": "suction"},
    ]
    return changed({**BASE, "branches": branches}, changes)


def ask(document: dict[str, Any]) -> SteadyStateAnswer:
    """Ask a machine, and make sure that the answer keeps what every answer promises."""
    actual = steady_state.answer(msgspec.convert(document, SteadyStateQuestion))
    assert broken_promises(actual.question, actual, actual.question.confidence) == []
    return actual


def test_flow_that_is_right_is_not_spoken_of() -> None:
    """A machine that is only too hot hears nothing of its flow."""
    hot = ask(apart({"branches/0/elements/1/power_w": 1500}))

    assert hot.outcome.status == "outside_validity"
    assert hot.outcome.reason.startswith("the coolant would settle above")
    assert len(hot.outcome.advice) == 1


def test_pumps_that_point_against_each_other() -> None:
    """Two pumps in series, one turned round: neither delivers, and both are named."""
    pumps = [
        {**PUMP, "name": "pump one", "to_node": "between"},
        {**PUMP, "name": "pump two", "from_node": "delivery", "to_node": "between"},
    ]
    actual = ask(apart({"pumps": pumps}))

    assert actual.outcome.status == "outside_validity"
    assert actual.outcome.reason.startswith("no coolant flows: pump one and pump two deliver")
    assert "95 degC" in actual.outcome.reason
    assert "pump two from delivery to between" in actual.outcome.advice[0]


def test_block_on_a_dead_end() -> None:
    """Two branches that lead to a junction from which nothing leads on: junctions are named."""
    dead = apart({"branches/0/to_node": "nowhere", "branches/1/to_node": "nowhere"})
    by = {"name": "by pass", "elements": [TUBE], "from_node": "delivery", "to_node": "warm"}
    actual = ask(changed(dead, {"branches/3": by}))

    assert actual.outcome.status == "outside_validity"
    assert actual.outcome.reason.startswith("no coolant flows through card side")
    assert "dead end" in actual.outcome.advice[0]
    assert "delivery and nowhere" in actual.outcome.advice[0]


def test_starving_branch_of_a_narrow_bore() -> None:
    """So little flows that the card alone would boil it: flow, rise and the narrow tube."""
    starved = apart({"branches/0/elements/2": THIN, "branches/0/elements/1/power_w": 900})
    actual = ask(starved)

    assert actual.outcome.status == "outside_validity"
    assert "L/min flow through card side, which warms by" in actual.outcome.reason
    assert actual.outcome.reason.index("card side") < actual.outcome.reason.index("95 degC")
    assert "bore and length (2 mm, 5000 mm) of thin tube" in actual.outcome.advice[0]


def test_narrow_loop() -> None:
    """A tube of 2 mm in the way of everything: the required flow, once, and that tube."""
    actual = ask(apart({f"branches/2/elements/{len(REST)}": THIN}))

    assert "of the 2.2 L/min required flow through the loop" in actual.outcome.reason
    assert "card side" not in actual.outcome.reason
    assert "thin tube in way back" in actual.outcome.advice[0]


def test_restrictive_block() -> None:
    """A block that is in the way is named with what to check of it."""
    blocked = {"kind": "kv", "kv_m3_per_h": 0.02}
    actual = ask(apart({"branches/0/elements/1/pressure_drop": blocked}))

    assert "through card side" in actual.outcome.reason
    assert "Check the pressure drop of card in card side" in actual.outcome.advice[0]


@pytest.mark.parametrize("needed", [None, 0.5])
def test_branch_that_is_flowed_through_backward(needed: float | None) -> None:
    """Backward is a fault where a flow is required, and else only a way to write a loop."""
    turned = {"from_node": "warm", "to_node": "delivery", "required_flow_l_per_min": needed}
    document = apart()
    document["branches"][0] |= turned
    actual = ask(document)

    assert actual.outcome.status == "solved"
    assert ("coolant runs backward through card side" in actual.outcome.reason) == bool(needed)
    if needed:
        assert "Swap from_node and to_node" in actual.outcome.advice[0]


def test_a_flow_a_little_short_is_left_to_its_margin() -> None:
    """The margin says it; nothing is broken."""
    short = ask(apart({"required_flow_l_per_min": 4.5}))

    assert short.outcome.reason.startswith("fails: ")
    assert "loop flow" in short.outcome.reason


def test_required_flow_of_one_branch_missed_by_far() -> None:
    """One branch of three is narrow, and cool enough."""
    narrow = {"branches/0/elements/2": {**THIN, "bore_mm": 3}, "branches/0/elements/1/power_w": 5}
    actual = ask(apart({**narrow, "branches/0/required_flow_l_per_min": 2.0}))

    assert "of the 2 L/min required flow through card side" in actual.outcome.reason
    assert "thin tube in card side" in actual.outcome.advice[0]
