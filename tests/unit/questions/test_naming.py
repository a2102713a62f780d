"""Parts of one name: every criterion of an answer has a name of its own."""

import msgspec

from loopmargin_service.questions import supply_headroom, warm_up
from loopmargin_service.questions.naming import told_apart
from loopmargin_wire.supply_headroom import SupplyHeadroomQuestion
from loopmargin_wire.warm_up import WarmUpQuestion
from tests.unit.questions.asked import ask_head, ask_machine, example
from tests.unit.questions.sound import broken_promises

ELEMENTS = "branches/0/elements"
CARD, RADIATOR = (example("steady-state")["branches"][0]["elements"][place] for place in (2, 6))
LONG = "n" * 48


def test_names_that_are_alone_stay() -> None:
    """Only equal names get their place, and what they get fits."""
    assert told_apart(["card", "processor"]) == ["card", "processor"]
    assert told_apart(["card", "one", "card"]) == ["card (1)", "one", "card (3)"]
    assert told_apart([LONG, LONG]) == [f"{'n' * 40} (1)", f"{'n' * 40} (2)"]


def test_blocks_of_one_name() -> None:
    """Their criteria carry the places that their spreads carry."""
    actual = ask_machine({f"{ELEMENTS}/3": {**CARD, "power_w": 60}})

    criteria = [row.criterion for row in actual.margins]
    assert {"temperature of card (1)", "temperature of card (2)"} <= set(criteria)
    assert actual.state is not None
    assert actual.state.simulation is not None
    named = [one.quantity for one in actual.state.simulation.spreads]
    assert {"temperature of card (1)", "temperature of card (2)"} <= set(named)


def test_pumps_of_one_name() -> None:
    """Each has its suction head."""
    (pump,) = example("pump-head")["pumps"]
    pumps = [{**pump, "to_node": "between"}, {**pump, "from_node": "between"}]
    criteria = [row.criterion for row in ask_head({"pumps": pumps}).margins]

    assert [f"suction head, {pump['name']} ({place})" for place in (1, 2)] == criteria[-2:]


def test_radiators_of_one_long_name() -> None:
    """The loss of each one's fans is a criterion, and none is longer than the wire allows."""
    places = f"machine/{ELEMENTS}"
    named = {f"{places}/6/name": LONG, f"{places}/9": {**RADIATOR, "name": LONG}, "radiators": []}
    question = msgspec.convert(example("warm-up", named), WarmUpQuestion)
    answer = warm_up.answer(question)

    assert broken_promises(question, answer, question.machine.confidence) == []
    lost = [row.criterion for row in answer.margins if "limit without fans" in row.criterion]
    assert len(set(lost)) == len(lost) == 4


def test_connectors_of_one_name() -> None:
    """Each has its own rows."""
    plugs = example("supply-headroom")["connectors"]
    twice = example("supply-headroom", {"connectors": [plugs[0], plugs[0]]})
    question = msgspec.convert(twice, SupplyHeadroomQuestion)
    answer = supply_headroom.answer(question)

    assert broken_promises(question, answer, question.confidence) == []
    assert sum(f"{plugs[0]['name']} (2): " in row.criterion for row in answer.margins) >= 3
