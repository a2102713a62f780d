"""Damaged bodies and odd headers: refused by name, never a fault of ours."""

import json
from urllib.parse import quote

import httpx
import msgspec
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from litestar.testing import TestClient

from loopmargin_service.http.app import create_app
from loopmargin_service.http.settings import Settings
from tests.unit.http.parcel import Counter, parcel_routes

WELL = {"label": "box", "edges_mm": [1.5, 2, -3], "wrapping": {"kind": "crate", "wall_mm": 4}}
BODIES = {
    "application/json": json.dumps(WELL).encode(),
    "application/vnd.msgpack": msgspec.msgpack.encode(WELL),
}
MEDIA = pytest.mark.parametrize("media", BODIES)
CLIENT = TestClient(create_app(Settings(), parcel_routes(Counter())), raise_server_exceptions=False)
REFUSED = {200, 400, 422}
VALUES = st.binary(max_size=60).filter(lambda value: not set(value) & set(b"\r\n\0"))
HEADERS = st.dictionaries(
    st.sampled_from(
        [
            b"accept",
            b"content-type",
            b"content-encoding",
            b"request-id",
            b"traceparent",
            b"if-none-match",
            b"accept-encoding",
            b"prefer",
        ]
    ),
    VALUES
    | st.lists(
        st.sampled_from(
            [
                b"application/json",
                b"application/vnd.msgpack",
                b"*/*",
                b";q=",
                b"0",
                b"0.5",
                b", ",
                b";",
            ]
        ),
        max_size=8,
    ).map(b"".join),
)


@st.composite
def damaged(draw: st.DrawFn, body: bytes) -> bytes:
    """Cut, change, repeat or put in a few bytes."""
    for _ in range(draw(st.integers(1, 4))):
        start = draw(st.integers(0, len(body)))
        end = min(len(body), start + draw(st.integers(0, 6)))
        piece = draw(st.binary(max_size=4) | st.just(body[start:end] * 2))
        body = body[:start] + piece + body[end:]
    return body


def ask(body: bytes, headers: dict[bytes, bytes]) -> httpx.Response:
    """Post a parcel."""
    return CLIENT.post("/v1/parcel", content=body, headers=list(headers.items()))


@MEDIA
@settings(max_examples=200, deadline=None)
@given(data=st.data())
def test_a_damaged_body_is_read_or_refused(media: str, data: st.DataObject) -> None:
    """No arrangement of bytes is a bug, and every refusal can be read."""
    response = ask(data.draw(damaged(BODIES[media])), {b"content-type": media.encode()})

    assert response.status_code in REFUSED
    if response.status_code != 200:
        assert response.json()["type"].startswith("/problems/")


@MEDIA
@settings(max_examples=200, deadline=None)
@given(body=st.binary(max_size=200))
def test_any_bytes_are_read_or_refused(media: str, body: bytes) -> None:
    """From nothing to noise."""
    assert ask(body, {b"content-type": media.encode()}).status_code in REFUSED


@settings(max_examples=200, deadline=None)
@given(headers=HEADERS)
def test_odd_headers_are_negotiated_or_refused(headers: dict[bytes, bytes]) -> None:
    """Whatever stands in a header, the answer has a documented status."""
    given_type = {b"content-type": b"application/json", **headers}

    response = ask(BODIES["application/json"], given_type)

    assert response.status_code in {200, 400, 406, 415, 422}
    assert response.headers["request-id"]


@settings(max_examples=200, deadline=None)
@given(headers=HEADERS, name=st.text(max_size=50))
def test_odd_names_of_answers_are_not_found(headers: dict[bytes, bytes], name: str) -> None:
    """A path of any text is no answer."""
    path = f"/v1/answers/{quote(name, safe='')}"

    assert CLIENT.get(path, headers=list(headers.items())).status_code < 500
