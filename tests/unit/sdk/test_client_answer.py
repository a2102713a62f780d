"""What is sent and what is made of the response, through both clients alike."""

import math
from collections.abc import Callable
from typing import Any

import httpx
import msgspec
import numpy as np
import pytest

import loopmargin
from loopmargin.options import Encoding
from loopmargin_wire.part import Water
from loopmargin_wire.radiator_area import AllowedRise, RadiatorAreaQuestion
from tests.unit.sdk.standin import (
    MSGPACK,
    Ask,
    Service,
    answered,
    client_of,
    example,
    refused,
    sample_answer,
)


@pytest.mark.parametrize(
    ("encoding", "media", "decode"),
    [
        ("json", "application/json", msgspec.json.decode),
        ("msgpack", MSGPACK, msgspec.msgpack.decode),
    ],
)
def test_question_arrives_whole(
    ask: Ask, encoding: Encoding, media: str, decode: Callable[..., object]
) -> None:
    """The service receives the question in the chosen encoding, at the question's path."""
    service = Service()

    ask(service, encoding=encoding)

    request = service.requests[0]
    assert (request.method, str(request.url)) == ("POST", "http://stand.in/v1/radiator-area")
    assert media == request.headers["content-type"]
    assert request.headers["accept"].startswith(media + ",")
    assert example() == decode(request.content, type=RadiatorAreaQuestion)


@pytest.mark.parametrize("media", [MSGPACK, "application/json", "application/json; charset=utf-8"])
def test_answer_is_read_in_the_encoding_that_it_came_in(ask: Ask, media: str) -> None:
    """The Content-Type of the response decides, whatever was asked for."""
    module = msgspec.msgpack if media == MSGPACK else msgspec.json

    reply = ask(Service(answered(module.encode(sample_answer()), media)))

    assert sample_answer() == reply.answer


def test_reply_tells_what_the_response_said(ask: Ask) -> None:
    """Request id, cache status, location and all headers come with the answer."""
    response = answered(
        request_id="ab-7",
        cache_status="loopmargin; hit",
        content_location="/v1/answers/0123456789abcdef",
    )

    reply = ask(Service(response))

    told = (reply.request_id, reply.cache_status, reply.content_location, reply.attempts)
    assert told == ("ab-7", "loopmargin; hit", "/v1/answers/0123456789abcdef", 1)
    assert reply.headers["Request-Id"] == "ab-7"


def test_named_method_returns_the_answer_alone() -> None:
    """Who wants only the answer gets only the answer."""
    assert sample_answer() == client_of(Service()).radiator_area(example())


@pytest.mark.parametrize("location", ["0123456789abcdef", "/v1/answers/0123456789abcdef"])
def test_stored_answer_is_fetched_by_digest_or_location(location: str) -> None:
    """GET asks for the answer under its digest."""
    service = Service()

    reply = client_of(service).stored(loopmargin.RADIATOR_AREA, location)

    request = service.requests[0]
    assert sample_answer() == reply.answer
    assert (request.method, request.url.path) == ("GET", "/v1/answers/0123456789abcdef")
    assert "content-type" not in request.headers


def test_stored_answer_is_only_asked_of_the_own_service() -> None:
    """A location on another host still goes to base_url, so that no header leaks."""
    service = Service()

    client_of(service).stored(
        loopmargin.RADIATOR_AREA, "https://elsewhere.invalid/v1/answers/0123456789abcdef"
    )

    assert str(service.requests[0].url) == "http://stand.in/v1/answers/0123456789abcdef"


@pytest.mark.parametrize("location", ["", "short", "/v1/pump-head", "0123456789abcdef/../x"])
def test_location_that_is_none_is_refused(location: str) -> None:
    """Nothing is sent for what cannot be the place of an answer."""
    service = Service()

    with pytest.raises(ValueError, match="digest"):
        client_of(service).stored(loopmargin.RADIATOR_AREA, location)

    assert service.requests == []


def with_unknown_fields() -> object:
    """Return the sample answer of a later version: new fields in answer, margin and echo."""
    plain = msgspec.to_builtins(sample_answer())
    plain["era"] = "later"
    plain["margins"] = [{**margin, "trend": [1, 2]} for margin in plain["margins"]]
    plain["question"]["season"] = "summer"
    plain["question"]["radiator"]["coating"] = {"kind": "black"}
    curve = plain["question"]["air"]["fans"]["fan"]["curve"]
    plain["question"]["air"]["fans"]["fan"]["curve"] = [{**point, "odd`name": 1} for point in curve]
    return plain


@pytest.mark.parametrize(
    ("encode", "media"),
    [(msgspec.json.encode, "application/json"), (msgspec.msgpack.encode, MSGPACK)],
)
def test_answer_of_a_later_version_is_read(
    ask: Ask, encode: Callable[[object], bytes], media: str
) -> None:
    """Fields that this version does not know are dropped, in the echoed question too."""
    reply = ask(Service(answered(encode(with_unknown_fields()), media)))

    assert sample_answer() == reply.answer


def test_number_of_unknown_fields_is_limited(ask: Ask) -> None:
    """An echo with endless unknown fields is not worked through for ever."""
    plain = msgspec.to_builtins(sample_answer())
    plain["question"].update({f"x{place}": 0 for place in range(1000)})

    with pytest.raises(loopmargin.NotUnderstood, match="500"):
        ask(Service(answered(msgspec.msgpack.encode(plain))))


BROKEN_BODIES = {
    "empty": (b"", MSGPACK),
    "cut": (msgspec.json.encode(sample_answer())[:-9], "application/json"),
    "page": (b"<html>welcome</html>", "text/html"),
    "untyped": (b"{}", ""),
    "missing": (b"{}", "application/json"),
    "bytes": (b'{"edition": "\xff"}', "application/json"),
    "nested": (b"[" * 100_000, "application/json"),
    "other": (msgspec.json.encode(refused(400).json()), "application/json"),
}


@pytest.mark.parametrize("kind", BROKEN_BODIES)
def test_success_that_does_not_decode_is_not_understood(ask: Ask, kind: str) -> None:
    """A 200 that is no answer is raised as such, with the request id, and not asked again."""
    service = Service(answered(*BROKEN_BODIES[kind], request_id="ab-8"))

    with pytest.raises(loopmargin.NotUnderstood) as caught:
        ask(service)

    assert (caught.value.status, caught.value.request_id, len(service.requests)) == (200, "ab-8", 1)
    assert str(caught.value).startswith("ab-8: ")


def test_unknown_word_in_a_closed_list_is_named(ask: Ask) -> None:
    """A verdict that this version does not know is not guessed at."""
    plain = msgspec.to_builtins(sample_answer())
    plain["margins"][0]["verdict"] = "splendid"

    with pytest.raises(loopmargin.NotUnderstood, match=r"splendid.*margins\[0\]\.verdict.*newer"):
        ask(Service(answered(msgspec.msgpack.encode(plain))))


def test_body_of_an_answer_is_limited(ask: Ask, monkeypatch: pytest.MonkeyPatch) -> None:
    """A body beyond the limit is not read to its end."""
    monkeypatch.setattr("loopmargin.session.LONGEST_ANSWER_BYTES", 100)

    with pytest.raises(loopmargin.NotUnderstood, match="longer than 100 bytes"):
        ask(Service())


def test_redirect_is_not_followed(ask: Ask) -> None:
    """Headers with a key are not carried to another host; the error names it instead."""
    service = Service(httpx.Response(308, headers={"location": "https://elsewhere.invalid/"}))

    with pytest.raises(loopmargin.NotUnderstood, match=r"elsewhere\.invalid.*base_url"):
        ask(service)

    assert len(service.requests) == 1


def test_error_page_is_not_understood(ask: Ask) -> None:
    """An error of something in between is told apart from a refusal of the service."""
    with pytest.raises(loopmargin.NotUnderstood, match=r"502 with text/html.*oops") as caught:
        ask(Service(httpx.Response(502, html="<p>oops</p>")))

    assert (caught.value.status, caught.value.attempts) == (502, 3)


INVALID: dict[str, tuple[dict[str, Any], str, str]] = {
    "below": ({"heat_w": -4.0}, "#/heat_w", "-4.0"),
    "nan": ({"heat_w": math.nan}, "#/heat_w", "nan"),
    "infinite": ({"heat_w": math.inf}, "#/heat_w", "inf"),
    "text": ({"heat_w": "340"}, "#/heat_w", "'340'"),
    "inner": ({"target": AllowedRise(rise_k=500.0)}, "#/target/rise_k", "500.0"),
    "kind": ({"room": Water()}, "#/room", "unknown field `kind`"),
    "array": ({"heat_w": np.array([1.0, 2.0])}, "#", "ndarray"),
    "object": ({"coolant": object()}, "#", "object"),
}


@pytest.mark.parametrize("case", INVALID)
def test_invalid_question_is_refused_before_it_is_sent(case: str) -> None:
    """A question outside the wire contract points at the field and never leaves."""
    changes, pointer, said = INVALID[case]
    service = Service()

    with pytest.raises(loopmargin.InvalidQuestion) as caught:
        client_of(service).radiator_area(msgspec.structs.replace(example(), **changes))

    (error,) = caught.value.problem.errors
    assert (pointer, 422, "", 0) == (
        error.pointer,
        caught.value.status,
        caught.value.request_id,
        len(service.requests),
    )
    assert said in error.detail


def test_fault_inside_a_list_is_pointed_at() -> None:
    """The pointer counts the entries of lists from zero."""
    plain = msgspec.to_builtins(example())
    question = msgspec.convert(plain, RadiatorAreaQuestion)
    fans = question.air.fans  # type: ignore[union-attr]
    point = msgspec.structs.replace(fans.fan.curve[2], pressure_pa=1e9)
    curve = (*fans.fan.curve[:2], point)
    broken = msgspec.structs.replace(fans.fan, curve=curve)
    air = msgspec.structs.replace(question.air, fans=msgspec.structs.replace(fans, fan=broken))

    with pytest.raises(loopmargin.InvalidQuestion) as caught:
        client_of(Service()).radiator_area(msgspec.structs.replace(question, air=air))

    assert caught.value.problem.errors[0].pointer == "#/air/fans/fan/curve/2/pressure_pa"


@pytest.mark.parametrize("number", [np.float64(340.0), np.float32(340.0), np.int64(340), 340])
def test_numbers_of_other_libraries_can_be_asked(number: float) -> None:
    """A scalar from an array is sent as the number that it is."""
    service = Service()
    question = msgspec.structs.replace(example(), heat_w=number, section_count=np.int32(1))

    client_of(service, encoding="json").radiator_area(question)

    assert example() == msgspec.json.decode(service.requests[0].content, type=RadiatorAreaQuestion)
