"""Request-Id and security headers on every response."""

import re

import pytest
from litestar import Litestar
from litestar.testing import TestClient

from loopmargin_service.http.identity import _CALLERS_ID, _TRACEPARENT
from tests.unit.http.conftest import JSON

EVERY_KIND = [
    ("GET", "/livez"),
    ("HEAD", "/livez"),
    ("OPTIONS", "/v1/parcel"),
    ("DELETE", "/v1/parcel"),
    ("GET", "/nowhere"),
    ("GET", "/docs"),
    ("GET", "/openapi.json"),
    ("POST", "/v1/parcel"),
]


@pytest.mark.parametrize(("method", "path"), EVERY_KIND)
def test_every_response_is_named_and_guarded(
    client: TestClient[Litestar], method: str, path: str
) -> None:
    """Success, refusal, page or automatic answer: none goes without."""
    headers = client.request(method, path).headers

    assert re.fullmatch(r"[0-9a-f]{12}-[0-9a-f]+", headers["request-id"])
    assert headers["x-content-type-options"] == "nosniff"
    assert headers["referrer-policy"] == "no-referrer"
    assert headers["content-security-policy"].startswith("default-src 'none'")
    assert "server" not in headers


@pytest.mark.parametrize(
    ("given", "taken"),
    [
        ("abc", True),
        ("A.b_c-9", True),
        ("x" * 64, True),
        ("x" * 65, False),
        ("", False),
        ("a b", False),
        ("a;b", False),
        ("ü", False),
    ],
)
def test_a_callers_identifier_is_taken_when_it_is_plain(
    client: TestClient[Litestar],
    given: str,
    taken: bool,  # noqa: FBT001 - a column of the table
) -> None:
    """Anything else is replaced, not refused."""
    sent = [(b"request-id", given.encode())]

    actual = client.get("/livez", headers=sent).headers["request-id"]

    assert taken == (actual == given)


def test_a_line_end_never_gets_into_an_identifier() -> None:
    """The whole value has to match, its end too."""
    assert _CALLERS_ID.fullmatch(b"abc\n") is None


def test_identifiers_are_not_repeated(client: TestClient[Litestar]) -> None:
    """Each request has its own."""
    names = {client.get("/livez").headers["request-id"] for _ in range(20)}

    assert len(names) == 20


@pytest.mark.parametrize(
    ("header", "trace"),
    [
        (b"00-4bf92f3577b34da6a3ce929d0e0e4736-00f067aa0ba902b7-01", True),
        (b"ff-4bf92f3577b34da6a3ce929d0e0e4736-00f067aa0ba902b7-01", False),
        (b"00-00000000000000000000000000000000-00f067aa0ba902b7-01", False),
        (b"00-4bf92f3577b34da6a3ce929d0e0e4736-0000000000000000-01", False),
        (b"00-4BF92F3577B34DA6A3CE929D0E0E4736-00f067aa0ba902b7-01", False),
        (b"00-4bf92f3577b34da6a3ce929d0e0e4736-00f067aa0ba902b7", False),
        (b"garbage", False),
    ],
)
def test_only_valid_trace_context_is_read(header: bytes, trace: bool) -> None:  # noqa: FBT001 - a column of the table
    """W3C Trace Context, version 00."""
    assert trace == (_TRACEPARENT.fullmatch(header) is not None)


@pytest.mark.parametrize(
    ("traceparent", "logged"),
    [("00-4bf92f3577b34da6a3ce929d0e0e4736-00f067aa0ba902b7-01", "4bf92f35"), ("x", "none")],
)
def test_the_trace_of_a_bug_is_logged(
    client: TestClient[Litestar], caplog: pytest.LogCaptureFixture, traceparent: str, logged: str
) -> None:
    """The log line can be joined with the caller's trace."""
    body = b'{"edges_mm":[1],"mood":"broken"}'

    client.post("/v1/parcel", content=body, headers={**JSON, "traceparent": traceparent})

    assert f"trace {logged}" in caplog.text
