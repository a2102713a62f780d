"""Traces of requests by OpenTelemetry; imported only when an endpoint for them is set.

A request is a span of kind server, named and described by the semantic conventions for HTTP;
its phases are spans inside it. A valid `traceparent` is continued, with its decision on
sampling; without one the share that is set decides. Spans leave by a thread of their own
through a bounded queue: a collector that is away or hangs costs spans and no time.
"""

from importlib.metadata import version
from threading import Thread

from litestar.enums import ScopeType
from litestar.types import ASGIApp, HTTPScope, Message, Receive, Scope, Send
from opentelemetry.exporter.otlp.proto.http.trace_exporter import OTLPSpanExporter
from opentelemetry.sdk.resources import Resource
from opentelemetry.sdk.trace import TracerProvider
from opentelemetry.sdk.trace.export import BatchSpanProcessor, SpanExporter
from opentelemetry.sdk.trace.sampling import ParentBased, TraceIdRatioBased
from opentelemetry.trace import Span, SpanKind, StatusCode, format_trace_id
from opentelemetry.trace.propagation.tracecontext import TraceContextTextMapPropagator

from loopmargin_service.http.meters import METHODS, OTHER
from loopmargin_service.http.phases import SHOWN_BY
from loopmargin_service.http.settings import Settings
from loopmargin_service.http.watch import route_of
from loopmargin_service.questions.edition import EDITION

QUEUE = 2048
BATCH = 256
EXPORT_TIMEOUT_S = 5.0
CLOSING_S = 2.0
FIRST_OF_FAILURES = 500
_TRACE_CONTEXT = TraceContextTextMapPropagator()


class Traces:
    """Where the spans of one process go, and how large a share of requests has any."""

    def __init__(self, exporter: SpanExporter, share: float) -> None:
        self._provider = TracerProvider(
            sampler=ParentBased(TraceIdRatioBased(share)),
            resource=Resource(
                {
                    "service.name": "loopmargin",
                    "service.version": version("loopmargin"),
                    "loopmargin.edition": EDITION,
                }
            ),
            shutdown_on_exit=False,
        )
        self._provider.add_span_processor(
            BatchSpanProcessor(exporter, max_queue_size=QUEUE, max_export_batch_size=BATCH)
        )
        self.tracer = self._provider.get_tracer("loopmargin")

    def flush(self) -> None:
        """Send what waits."""
        self._provider.force_flush()

    def close(self) -> None:
        """Send what waits, but wait no longer than a moment for a collector that does not take."""
        closing = Thread(target=self._provider.shutdown, name="traces", daemon=True)
        closing.start()
        closing.join(CLOSING_S)


def traces(settings: Settings) -> Traces:
    """Send traces where the settings say."""
    exporter = OTLPSpanExporter(settings.traces_endpoint, timeout=EXPORT_TIMEOUT_S)
    return Traces(exporter, settings.traces_share)


class Traced:
    """The layer that shows requests as spans; it leaves the trace's identifier in the state."""

    def __init__(self, app: ASGIApp, kept: Traces, routes: frozenset[str]) -> None:
        self._app = app
        self._tracer = kept.tracer
        self._routes = routes

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Handle one request."""
        if scope["type"] != ScopeType.HTTP:
            await self._app(scope, receive, send)
            return
        path = scope["path"]
        with self._tracer.start_as_current_span(
            _method(scope), context=_TRACE_CONTEXT.extract(_carrier(scope)), kind=SpanKind.SERVER
        ) as span:
            scope["state"]["trace_id"] = format_trace_id(span.get_span_context().trace_id)
            if not span.is_recording():
                await self._app(scope, receive, send)
                return
            await self._shown(scope, receive, _noting(span, send))
            _describe(span, scope, route_of(scope, path, self._routes))

    async def _shown(self, scope: HTTPScope, receive: Receive, send: Send) -> None:
        before = SHOWN_BY.set(self._tracer.start_as_current_span)
        try:
            await self._app(scope, receive, send)
        finally:
            SHOWN_BY.reset(before)


def _carrier(scope: HTTPScope) -> dict[str, str]:
    """Take the one field that is read; state and baggage of a stranger are not passed on."""
    given = dict(scope["headers"]).get(b"traceparent")
    return {} if given is None else {"traceparent": given.decode("latin-1")}


def _noting(span: Span, send: Send) -> Send:
    """Note the status of the response on the span."""

    async def noted(message: Message) -> None:
        if message["type"] == "http.response.start":
            status = message["status"]
            span.set_attribute("http.response.status_code", status)
            if status >= FIRST_OF_FAILURES:
                span.set_attribute("error.type", str(status))
                span.set_status(StatusCode.ERROR)
        await send(message)

    return noted


def _describe(span: Span, scope: HTTPScope, route: str) -> None:
    """Say what was asked for, in words that no caller chooses."""
    method = _method(scope)
    span.set_attribute("http.request.method", scope["method"] if method != "HTTP" else "_OTHER")
    span.set_attribute("url.scheme", scope["scheme"])
    span.set_attribute("loopmargin.request_id", scope["state"].get("request_id", ""))
    if route != OTHER:
        span.set_attribute("http.route", route)
        span.update_name(f"{method} {route}")


def _method(scope: HTTPScope) -> str:
    return scope["method"] if scope["method"] in METHODS else "HTTP"
