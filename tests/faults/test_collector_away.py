"""Traces with a collector that takes them, that is not there, or that hangs."""

import contextlib
import socket
import threading
import time
from collections.abc import Iterator
from http.server import BaseHTTPRequestHandler, HTTPServer

import httpx
import pytest
from opentelemetry.proto.collector.trace.v1.trace_service_pb2 import ExportTraceServiceRequest

from tests.faults.service_process import WAIT_S, ServiceProcess

REQUESTS = 300


class Collector(HTTPServer):
    """Takes traces and keeps the names of their spans."""

    def __init__(self) -> None:
        super().__init__(("127.0.0.1", 0), Taking)
        self.names: list[str] = []
        self.url = f"http://127.0.0.1:{self.server_port}/v1/traces"

    def taken(self, body: bytes) -> None:
        """Read one message as the standard has it."""
        message = ExportTraceServiceRequest.FromString(body)
        self.names += [
            span.name
            for resource in message.resource_spans
            for scope in resource.scope_spans
            for span in scope.spans
        ]


class Taking(BaseHTTPRequestHandler):
    """Answers 200 to whatever is sent."""

    server: Collector

    def do_POST(self) -> None:
        """Take one message."""
        self.server.taken(self.rfile.read(int(self.headers["content-length"])))
        self.send_response(200)
        self.send_header("content-length", "0")
        self.end_headers()

    def log_message(self, *_: object) -> None:
        """Stay silent."""


@contextlib.contextmanager
def collector() -> Iterator[Collector]:
    """Run a collector within a block."""
    with Collector() as running:
        thread = threading.Thread(target=running.serve_forever)
        thread.start()
        yield running
        running.shutdown()
        thread.join()


def test_spans_reach_the_collector() -> None:
    """At the latest when the service stops."""
    with collector() as running:
        with ServiceProcess(traces_endpoint=running.url, traces_share="1") as service:
            httpx.get(service.url + "/livez")
            assert service.stop() == 0
        assert running.names == ["GET /livez"]


@pytest.mark.parametrize("fault", ["refused", "hung"])
def test_a_collector_that_is_away_holds_nothing_up(fault: str) -> None:
    """Every request is answered, and the process still ends when it is asked to."""
    with socket.create_server(("127.0.0.1", 0)) as hung:
        port = hung.getsockname()[1] if fault == "hung" else 1
        endpoint = f"http://127.0.0.1:{port}/v1/traces"
        with (
            ServiceProcess(traces_endpoint=endpoint, traces_share="1") as service,
            httpx.Client() as caller,
        ):
            statuses = [caller.get(service.url + "/livez").status_code for _ in range(REQUESTS)]
            asked = time.monotonic()
            assert service.stop() == 0
            took_s = time.monotonic() - asked

    assert statuses == [200] * REQUESTS
    assert took_s < WAIT_S
