"""One JSON object a line: what it says, what it never says, and that nobody can forge one."""

import json
import logging
import os
import re
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from litestar import Litestar
from litestar.testing import TestClient

from loopmargin_service.http.app import create_app
from loopmargin_service.http.log import event, logging_to, stamp
from loopmargin_service.http.settings import Settings
from tests.unit.http.conftest import JSON
from tests.unit.http.parcel import Counter, parcel_routes

PARCEL = "/v1/parcel"
TRACE = "4bf92f3577b34da6a3ce929d0e0e4736"
Lines = list[dict[str, Any]]
NAMES = {
    *("time", "level", "event", "edition"),
    *("request_id", "trace_id", "key_id"),
    *("method", "route", "status", "store", "digest"),
    *("duration_s", "body_bytes"),
}


@contextmanager
def logged(**chosen: Any) -> Iterator[tuple[TestClient[Litestar], Callable[[], Lines]]]:  # noqa: ANN401 - any setting
    """Run an application that logs into a pipe; the lines are read when the block is over."""
    reading, writing = os.pipe()
    heard: Lines = []
    with os.fdopen(reading, "rb") as lines:
        with os.fdopen(writing, "wb") as sink:
            given_ = Settings(**chosen)
            with logging_to(sink.fileno(), given_) as (_, tell):
                app = create_app(given_, parcel_routes(Counter()), tell)
                with TestClient(app, raise_server_exceptions=False) as client:
                    yield client, lambda: heard
        heard += [json.loads(line) for line in lines]


def requests(lines: Lines) -> Lines:
    """Leave the lines of requests."""
    return [line for line in lines if line["event"] == "request"]


def test_a_request_is_a_line_with_what_is_known_of_it() -> None:
    """All the names, always."""
    with logged() as (client, lines):
        answer = client.post(
            PARCEL,
            content=b'{"edges_mm":[1]}',
            headers={**JSON, "request-id": "mine", "traceparent": f"00-{TRACE}-{'1' * 16}-01"},
        )
    (line,) = requests(lines())

    assert set(line) == NAMES
    assert re.fullmatch(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{3}Z", line["time"])
    assert line["duration_s"] > 0
    told = {name: line[name] for name in ("request_id", "trace_id", "route", "status", "store")}
    assert told == {
        "request_id": "mine",
        "trace_id": TRACE,
        "route": PARCEL,
        "status": 200,
        "store": "stored",
    }
    assert answer.headers["content-location"].endswith(line["digest"])
    assert line["body_bytes"] == len(answer.content)
    assert (line["level"], line["edition"]) == ("info", answer.json()["edition"])


def test_no_body_query_path_or_key_is_logged() -> None:
    """Nothing that a caller wrote but an identifier that it chose for the purpose."""
    hidden = "hush-4711"
    with logged() as (client, lines):
        client.post(
            PARCEL,
            content=b'{"edges_mm":[1],"label":"hush-4711"}',
            headers={
                **JSON,
                "authorization": f"Bearer shop.{hidden}",
                "cookie": hidden,
                "user-agent": hidden,
            },
        )
        client.get(f"/{hidden}")
        client.get(f"/livez?key={hidden}")
        client.post(PARCEL, content=hidden.encode(), headers=JSON)

    assert len(requests(lines())) == 4
    assert hidden not in json.dumps(lines())


@settings(
    max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(value=st.binary(max_size=80), path=st.text(max_size=20))
def test_a_caller_cannot_write_a_line(
    logged_once: tuple[TestClient[Litestar], Callable[[], Lines]], value: bytes, path: str
) -> None:
    """Whatever stands in headers and path; the fixture reads every line at its end."""
    client, _ = logged_once
    client.get("/livez", headers=[(b"request-id", value), (b"traceparent", value)])
    client.post(f"/v1/parcel/{path!r}", content=value)


@pytest.fixture
def logged_once() -> Iterator[tuple[TestClient[Litestar], Callable[[], Lines]]]:
    """Log many requests, and hold that each made one line."""
    with logged() as (client, lines):
        count = 0
        send = client.request

        def counted(*args: Any, **kwargs: Any) -> Any:  # noqa: ANN401 - as it is
            nonlocal count
            count += 1
            return send(*args, **kwargs)

        client.request = counted  # type: ignore[method-assign]
        yield client, lines
    assert len(requests(lines())) == count > 0


@pytest.mark.parametrize(
    ("level", "statuses"),
    [("info", [200, 422, 500]), ("warning", [500]), ("error", [500])],
)
def test_the_level_chooses_what_is_told(level: str, statuses: list[int]) -> None:
    """A mistake of ours always is."""
    with logged(log_level=level) as (client, lines):
        for mood in ("well", "contrary", "broken"):
            client.post(
                PARCEL, content=b'{"edges_mm":[1],"mood":"%s"}' % mood.encode(), headers=JSON
            )

    assert [line["status"] for line in requests(lines())] == statuses


def test_a_share_leaves_out_what_went_well_and_nothing_else() -> None:
    """A half of many is neither none nor all."""
    with logged(log_share=0.5) as (client, lines):
        for _ in range(200):
            client.get("/livez")
        for _ in range(10):
            client.get("/nowhere")
    statuses = [line["status"] for line in requests(lines())]

    assert statuses.count(404) == 10
    # Binomial with n = 200, p = 1/2: outside 40 to 160 with a chance below 1e-17.
    assert 40 <= statuses.count(200) <= 160


def test_a_bug_is_a_line_with_its_trace() -> None:
    """On one line, with the identifier that the caller was given."""
    with logged() as (client, lines):
        reply = client.post(PARCEL, content=b'{"edges_mm":[1],"mood":"broken"}', headers=JSON)
    (bug,) = [line for line in lines() if line["level"] == "error" and "trace" in line]

    assert reply.json()["instance"] in bug["event"]
    assert "ZeroDivisionError" in bug["trace"]


def test_an_event_has_its_fields_and_is_one_line() -> None:
    """Line ends inside are escaped, also those that only Unicode knows."""
    with logged() as (_, lines):
        event(logging.WARNING, "store\naway\u2028", kind="refused\n")

    (line,) = lines()
    assert (line["event"], line["kind"]) == ("store\naway\u2028", "refused\n")


def test_times_are_written_in_utc() -> None:
    """RFC 3339; the billionth second of Unix time is a known one (common knowledge)."""
    assert stamp(1_000_000_000.25) == "2001-09-09T01:46:40.250Z"
    assert stamp(0.0) == "1970-01-01T00:00:00.000Z"
