"""A sweep read as a stream: whole, cut, spoilt, refused, left early."""

import pickle
from typing import Any

import httpx
import msgspec
import pytest

import loopmargin
from loopmargin.records import LONGEST_RECORD_BYTES, Records
from loopmargin_wire.sweep import SweepBlock, SweepEnd, SweepHead
from tests.unit.sdk.standin import Service, Time, refused
from tests.unit.sdk.stream_standin import (
    CASES,
    QUESTION,
    RESET,
    WHOLE,
    Take,
    block,
    broken,
    end,
    first_cases,
    head,
    plain,
    rest,
    streamed,
)


@pytest.mark.parametrize("length", [1, 7, 4096, 10**6])
def test_records_come_in_order_however_the_bytes_fall(take: Take, length: int) -> None:
    """The pieces that a network makes have nothing to do with records."""
    body = b"".join(rest())
    service = Service(streamed(*(body[at : at + length] for at in range(0, len(body), length))))

    records = take(service)

    assert plain(records) == WHOLE
    assert [type(record) for record in records] == [SweepHead, *[SweepBlock] * 3, SweepEnd]
    assert service.headers("accept") == ["application/x-ndjson, application/problem+json;q=0.9"]


@pytest.mark.parametrize(
    "cut",
    [
        [head(), block(0), block(2)[:20], RESET],
        [head(), block(0), block(2)[:20]],
        [head(), block(0), RESET],
        [head(), block(0)],
        [head(), block(0), broken(2, 503)],
        [head(), block(0), broken(2, 504, "/problems/deadline")],
    ],
    ids=["in a record", "ended in a record", "between", "no last", "busy", "out of stream time"],
)
def test_what_was_cut_is_taken_up(take: Take, cut: list[Any]) -> None:
    """Nothing is missing and nothing comes twice; the end counts both parts."""
    service = Service(streamed(*cut), streamed(*rest(2)))

    assert plain(take(service, Time())) == WHOLE
    assert first_cases(service) == [0, 2]


def test_what_lacks_its_last_record_alone_is_complete(take: Take) -> None:
    """Every case has come, so nothing is asked again."""
    service = Service(streamed(*rest()[:-1], RESET))

    assert plain(take(service)) == WHOLE
    assert len(service.requests) == 1


def test_a_stream_may_begin_further_on(take: Take) -> None:
    """The question's own first case; the end counts from there."""
    question = msgspec.structs.replace(QUESTION, first_case=2)
    service = Service(streamed(head(2), block(2), RESET), streamed(*rest(4)))

    *_, last = take(service, question=question)

    assert msgspec.json.encode(last) + b"\n" == end(4)
    assert first_cases(service) == [2, 4]


def test_progress_counts_retries_anew(take: Take) -> None:
    """Each block is a new beginning; a stream that brings none is asked so often and no more."""
    cuts = [streamed(head(at), block(at), RESET) for at in (0, 2)]
    good = Service(*cuts, streamed(RESET), streamed(*rest(4)))
    bad = Service(streamed(head(), block(0), RESET), streamed(head(2), RESET))

    assert plain(take(good, max_retries=2)) == WHOLE
    with pytest.raises(loopmargin.NoAnswer) as caught:
        take(bad, max_retries=2)

    assert first_cases(bad) == [0, 2, 2]
    assert caught.value.attempts == 3
    note = "The cases before 2 have come; first_case=2 goes on there."
    assert caught.value.__notes__ == [note]
    assert pickle.loads(pickle.dumps(caught.value)).__notes__ == [note]  # noqa: S301 - our own


def test_budget_bounds_what_is_taken_up(take: Take) -> None:
    """A service that breaks every stream is left alone when the tokens are spent."""
    budget = loopmargin.RetryBudget()
    while budget.spend():
        pass
    service = Service(streamed(head(), RESET))

    with pytest.raises(loopmargin.NoAnswer):
        take(service, retry_budget=budget)

    assert len(service.requests) == 1


def test_pauses_are_the_usual_ones(take: Take) -> None:
    """They double without progress, up to the given number."""
    time = Time()
    service = Service(streamed(RESET), streamed(RESET), streamed(*rest()))

    take(service, time)

    assert time.slept == [0.5, 1.0]


@pytest.mark.parametrize(
    "step", [refused(503), httpx.ConnectError("refused"), refused(429, retry_after="1")]
)
def test_trouble_before_the_stream_passes(take: Take, step: Any) -> None:  # noqa: ANN401
    """As it does for an answer."""
    assert plain(take(Service(step, streamed(*rest())))) == WHOLE


@pytest.mark.parametrize(
    ("step", "error"),
    [
        (refused(422), loopmargin.InvalidQuestion),
        (refused(401), loopmargin.KeyRefused),
        (refused(504, "/problems/deadline"), loopmargin.Unavailable),
        (streamed(head(), broken(0, 504, "/problems/deadline")), loopmargin.Unavailable),
        (streamed(head(), block(0), broken(2, 500)), loopmargin.Unavailable),
        (streamed(head(), block(0), broken(2, 429)), loopmargin.OverQuota),
    ],
)
def test_refusals_are_raised_as_ever(take: Take, step: Any, error: type[Exception]) -> None:  # noqa: ANN401
    """Before the stream or as its last record, with the request's name."""
    service = Service(step)

    with pytest.raises(error) as caught:
        take(service, max_retries=0)

    assert caught.value.request_id in {"ab-1", "ab-2"}  # type: ignore[attr-defined]
    assert len(service.requests) == 1


@pytest.mark.parametrize(
    ("pieces", "said"),
    [
        ([head(), b"{no record}\n"], "malformed"),
        ([head(), block(2)], "does not follow case -1"),
        ([head(), block(0), block(0)], "does not follow case 1"),
        ([head(), block(0), block(2), block(4, status=("settled",) * 3)], "does not follow"),
        ([head(), block(0, status=())], "does not follow"),
        ([head(), block(0, holds=(True,))], "wide"),
        ([head(), block(0, columns=())], "wide"),
        ([head(), block(0, columns=((1.0,),))], "wide"),
        ([head(), block(0), end(2)], "ends before case 2"),
        ([head(2)], "begins with case 2"),
        ([block(0)], "head"),
        ([head(), head()], "head"),
    ],
)
def test_a_stream_that_makes_no_sense_is_an_error(
    take: Take, pieces: list[bytes], said: str
) -> None:
    """Rather than numbers in a wrong place; asking again would not mend it."""
    service = Service(streamed(*pieces))

    with pytest.raises(loopmargin.NotUnderstood, match=said):
        take(service)

    assert len(service.requests) == 1


@pytest.mark.parametrize("changed", [{"digest": "other"}, {"cases": 8}])
def test_other_numbers_are_no_continuation(take: Take, changed: dict[str, Any]) -> None:
    """A service that has changed meanwhile cannot finish what another one began."""
    service = Service(
        streamed(head(), block(0), RESET), streamed(head(2, edition="newer", **changed), block(2))
    )

    with pytest.raises(loopmargin.NotUnderstood, match="other numbers"):
        take(service)


def test_an_answer_that_is_no_stream_is_told(take: Take) -> None:
    """Such as that of something else behind the same address."""
    with pytest.raises(loopmargin.NotUnderstood, match="text/html"):
        take(Service(streamed(b"<p>", media="text/html")))


def test_leaving_early_hangs_up(take: Take) -> None:
    """Nothing more is read."""
    step = streamed(*rest())

    assert plain(take(Service(step), most=2)) == WHOLE[:2]
    assert step.body.closed
    assert step.body.given == 2


def test_a_question_is_checked_before_anything_is_sent(take: Take) -> None:
    """As every other."""
    service = Service()

    with pytest.raises(loopmargin.InvalidQuestion):
        take(service, question=msgspec.structs.replace(QUESTION, first_case=-1))

    assert service.requests == []


def test_what_is_kept_of_a_record_is_bounded() -> None:
    """In both encodings, and what is no record is refused at its first byte."""
    lines, bins, other = Records("json"), Records("msgpack"), Records("msgpack")
    lines.add(b" " * (LONGEST_RECORD_BYTES + 1))
    bins.add(b"\xc6\xff\xff\xff\xff")
    other.add(b"{")

    for records in (lines, bins, other):
        with pytest.raises(msgspec.DecodeError):
            records.next()


def test_newer_fields_are_skipped(take: Take) -> None:
    """Also in the question that the head echoes, which forbids unknown fields."""
    document = msgspec.json.decode(head())
    document["news"] = document["question"]["machine"]["news"] = 1
    service = Service(streamed(msgspec.json.encode(document) + b"\n", *rest()[1:]))

    assert len(take(service)) == 2 + CASES // 2
