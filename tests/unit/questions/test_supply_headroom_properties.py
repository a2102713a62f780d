"""`supply-headroom` over random questions that fit the wire contract."""

import msgspec
from hypothesis import HealthCheck, assume, given, settings

from loopmargin_service.questions.refusals import Refusal
from loopmargin_service.questions.supply_headroom import answer
from loopmargin_wire.answer import Margin
from loopmargin_wire.supply_headroom import SupplyHeadroomAnswer, SupplyHeadroomQuestion
from tests.generated import questions

ANY_QUESTION = questions(SupplyHeadroomQuestion)
LARGE_INPUT = (HealthCheck.too_slow, HealthCheck.data_too_large, HealthCheck.filter_too_much)


def answer_or_none(question: SupplyHeadroomQuestion) -> SupplyHeadroomAnswer | None:
    """Answer, or give none for a question that contradicts itself."""
    try:
        return answer(question)
    except Refusal:
        return None


def rating_margin(given_answer: SupplyHeadroomAnswer) -> Margin:
    """Find the margin of the rating."""
    return next(row for row in given_answer.margins if row.criterion == "rating with margin")


@settings(max_examples=200, deadline=None, suppress_health_check=LARGE_INPUT)
@given(question=ANY_QUESTION)
def test_any_answer_survives_the_wire(question: SupplyHeadroomQuestion) -> None:
    """Nothing but a refusal is raised, and every number of an answer is within its bounds.

    Infinity and NaN become null in JSON, so they cannot come back as the same answer.
    """
    actual = answer_or_none(question)
    assume(actual is not None)
    encoded = msgspec.json.encode(actual)

    assert msgspec.json.decode(encoded, type=SupplyHeadroomAnswer) == actual


def test_nearly_every_question_is_answered() -> None:
    """At least four of five random questions are no contradiction."""
    answered: list[bool] = []

    @settings(max_examples=200, derandomize=True, deadline=None, suppress_health_check=LARGE_INPUT)
    @given(question=ANY_QUESTION)
    def count(question: SupplyHeadroomQuestion) -> None:
        answered.append(answer_or_none(question) is not None)

    count()

    assert sum(answered) >= 0.8 * len(answered) > 0


@settings(max_examples=100, deadline=None, suppress_health_check=LARGE_INPUT)
@given(question=ANY_QUESTION)
def test_next_common_rating_suffices(question: SupplyHeadroomQuestion) -> None:
    """Asked again with the rating that was advised, the rating is met."""
    first = answer_or_none(question)
    advised = None if first is None else first.state.next_common_rating_w
    assume(advised is not None)
    supply = msgspec.structs.replace(question.supply, rated_w=advised)

    again = answer(msgspec.structs.replace(question, supply=supply))

    assert rating_margin(again).verdict == "meets"


@settings(max_examples=100, deadline=None, suppress_health_check=LARGE_INPUT)
@given(question=ANY_QUESTION)
def test_balances(question: SupplyHeadroomQuestion) -> None:
    """Pins add up to their connector, mains power is output and heat, shorter demands more."""
    actual = answer_or_none(question)
    assume(actual is not None)
    assert actual is not None
    demands = [row.demand_w for row in actual.state.windows]

    assert demands == sorted(demands, reverse=True)
    for connector in actual.state.connectors:
        total = sum(connector.pin_mean_currents_a)
        assert abs(total - connector.mean_current_a) <= 1e-9 * connector.mean_current_a
        assert connector.wire_drop_v <= connector.drop_v * (1.0 + 1e-9)
    if (mains := actual.state.mains) is not None:
        assert mains.heat_from_supply_w > 0.0
        assert abs(mains.power_w - actual.state.sustained_w - mains.heat_from_supply_w) <= 1e-9 * (
            mains.power_w
        )


@settings(max_examples=100, deadline=None, suppress_health_check=LARGE_INPUT)
@given(question=ANY_QUESTION)
def test_more_rest_power_never_helps(question: SupplyHeadroomQuestion) -> None:
    """A watt more anywhere lowers the surplus of every window by a watt."""
    assume(question.rest_w <= 1999.0)
    first = answer_or_none(question)
    assume(first is not None)
    assert first is not None

    second = answer(msgspec.structs.replace(question, rest_w=question.rest_w + 1.0))

    for before, after in zip(first.margins[:6], second.margins[:6], strict=True):
        assert abs(before.surplus - after.surplus - 1.0) < 1e-6
