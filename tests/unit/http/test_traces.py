"""Requests as spans: their names, their phases, whose trace they belong to, and none by default."""

import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager

import pytest
from litestar import Litestar
from litestar.testing import TestClient
from opentelemetry.sdk.trace import ReadableSpan
from opentelemetry.sdk.trace.export.in_memory_span_exporter import InMemorySpanExporter
from opentelemetry.trace import SpanKind, StatusCode

from loopmargin_service.http.app import create_app
from loopmargin_service.http.phases import phase
from loopmargin_service.http.settings import Settings
from loopmargin_service.http.traces import Traced, Traces
from tests.unit.http.conftest import JSON
from tests.unit.http.parcel import Counter, parcel_routes

PARCEL = "/v1/parcel"
TRACE, CALLER = "4bf92f3577b34da6a3ce929d0e0e4736", "00f067aa0ba902b7"
SAMPLED, UNSAMPLED = f"00-{TRACE}-{CALLER}-01", f"00-{TRACE}-{CALLER}-00"


class Kept:
    """What a traced application leaves behind."""

    def __init__(self, client: TestClient[Litestar], traces: Traces) -> None:
        self.client = client
        self.exporter = InMemorySpanExporter()
        self._traces = traces

    @property
    def spans(self) -> list[ReadableSpan]:
        """Everything that has left."""
        self._traces.flush()
        return list(self.exporter.get_finished_spans())

    @property
    def requests(self) -> list[ReadableSpan]:
        """The spans of requests."""
        return [span for span in self.spans if span.kind is SpanKind.SERVER]


@contextmanager
def traced(share: float = 1.0) -> Iterator[Kept]:
    """Run an application whose spans stay in memory."""
    exporter = InMemorySpanExporter()
    traces = Traces(exporter, share)
    app = create_app(
        Settings(),
        parcel_routes(Counter()),
        traced=lambda inner, routes: Traced(inner, traces, routes),
    )
    with TestClient(app, raise_server_exceptions=False) as client:
        kept = Kept(client, traces)
        kept.exporter = exporter
        yield kept
    traces.close()


def test_a_request_is_a_span_by_the_conventions() -> None:
    """OpenTelemetry semantic conventions for HTTP spans: names, kind and attributes."""
    with traced() as kept:
        kept.client.post(PARCEL, content=b'{"edges_mm":[1]}', headers={**JSON, "request-id": "me"})
        (span,) = kept.requests

    assert span.name == f"POST {PARCEL}"
    assert dict(span.attributes or {}) == {
        "http.request.method": "POST",
        "http.route": PARCEL,
        "http.response.status_code": 200,
        "url.scheme": "http",
        "loopmargin.request_id": "me",
    }
    assert span.status.status_code is StatusCode.UNSET
    assert span.resource.attributes["service.name"] == "loopmargin"


def test_the_phases_stand_inside_the_request() -> None:
    """Decoded, computed, encoded; a repeated request needs none of it."""
    with traced() as kept:
        for _ in range(2):
            kept.client.post(PARCEL, content=b'{"edges_mm":[1]}', headers=JSON)
        first, again = kept.requests
        phases = [span for span in kept.spans if span.kind is not SpanKind.SERVER]

    assert [span.name for span in phases] == ["decode", "compute", "encode"]
    assert first.context is not None
    assert again.context is not None
    assert {span.context.trace_id for span in phases if span.context} == {first.context.trace_id}
    assert {span.parent.span_id for span in phases if span.parent} == {first.context.span_id}


@pytest.mark.parametrize(("share", "header", "count"), [(0.0, SAMPLED, 1), (1.0, UNSAMPLED, 0)])
def test_a_callers_trace_is_continued_as_it_decided(share: float, header: str, count: int) -> None:
    """W3C Trace Context: its identifier and its flag go before our own share."""
    with traced(share) as kept:
        kept.client.get("/livez", headers={"traceparent": header})
        spans = kept.requests

    assert len(spans) == count
    for span in spans:
        assert span.context is not None
        assert span.parent is not None
        assert (f"{span.context.trace_id:032x}", f"{span.parent.span_id:016x}") == (TRACE, CALLER)


@pytest.mark.parametrize(
    "header", ["", "garbage", f"00-{'0' * 32}-{CALLER}-01", f"ff-{TRACE}-{CALLER}-01"]
)
def test_what_is_no_trace_context_starts_a_new_trace(header: str) -> None:
    """As if there were none."""
    with traced() as kept:
        kept.client.get("/livez", headers={"traceparent": header})
        (span,) = kept.requests

    assert span.parent is None
    assert span.context is not None
    assert f"{span.context.trace_id:032x}" != TRACE


def test_none_and_all_are_shares() -> None:
    """Without a decision of the caller's."""
    counts = {}
    for share in (0.0, 1.0):
        with traced(share) as kept:
            for _ in range(20):
                kept.client.get("/livez")
            counts[share] = len(kept.requests)

    assert counts == {0.0: 0, 1.0: 20}


def test_a_mistake_of_ours_is_an_error_and_a_refusal_is_not() -> None:
    """By the conventions a 4xx is the caller's, so the span of the server is unset."""
    with traced() as kept:
        kept.client.post(PARCEL, content=b'{"edges_mm":[1],"mood":"broken"}', headers=JSON)
        kept.client.post(PARCEL, content=b"{}", headers=JSON)
        broken, refused = kept.requests

    assert broken.status.status_code is StatusCode.ERROR
    assert (broken.attributes or {})["error.type"] == "500"
    assert refused.status.status_code is StatusCode.UNSET


def test_a_strangers_words_stay_out_of_the_spans() -> None:
    """No path that leads nowhere, no query, no method of one's own."""
    with traced() as kept:
        kept.client.request("HUSH", "/hush?hush=4711", headers={"user-agent": "hush"})
        kept.client.get("/v1/answers/hush")
        nowhere, unstored = kept.requests

    assert nowhere.name == "HTTP"
    assert unstored.name == "GET /v1/answers/{digest}"
    assert "hush" not in f"{nowhere.to_json()}{unstored.to_json()}".lower().replace("_other", "")


def test_phases_are_nothing_when_nobody_traces() -> None:
    """The same object each time, and it does nothing."""
    with phase("decode") as shown:
        assert shown is None
    assert phase("decode") is phase("encode")


def test_the_library_is_not_loaded_unless_traces_are_kept() -> None:
    """It is an extra, and takes its time; the framework looks for its interface by itself."""
    code = (
        "import sys; from loopmargin_service.http import serve, app; "
        "from loopmargin_service.http.settings import Settings; app.create_app(Settings()); "
        "sys.exit(any(name.startswith('opentelemetry.sdk') for name in sys.modules))"
    )

    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0  # noqa: S603 - ourselves
