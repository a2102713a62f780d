"""The outermost layer: times, counts and describes every request, whatever answers it.

What is known of a response is read off the response itself: its status, its length,
its Cache-Status and the digest in its Content-Location. So a layer further in needs to know
nothing of metrics or logs; it leaves `request_id`, `trace_id` and `key_id` in the scope's state.
"""

import re
from collections.abc import Callable, Collection
from functools import lru_cache
from time import perf_counter
from typing import NamedTuple

from litestar.enums import ScopeType
from litestar.types import ASGIApp, HTTPScope, Message, Receive, Scope, Send

from loopmargin_service.http.meters import METHODS, OTHER, Meters

_DIGEST = re.compile(rb"/v1/answers/([0-9a-f]{8,128})")
_TYPE_OF_PARAMETER = re.compile(r":\w+\}")


class Finished(NamedTuple):
    """What is told of one request after its last byte."""

    route: str
    method: str
    status: int
    duration_s: float
    body_bytes: int
    store: str
    location: bytes


Tell = Callable[[Scope, Finished], None]


class _Meter(NamedTuple):
    """Where the requests of one route, method and status are counted."""

    route: str
    observe: Callable[[float], None]
    add: Callable[[], None]


class _Response:
    """What passed by of one response."""

    __slots__ = ("body_bytes", "location", "send", "status", "store")

    def __init__(self, send: Send) -> None:
        self.send = send
        self.status = 0
        self.body_bytes = 0
        self.store = b""
        self.location = b""

    async def pass_on(self, message: Message) -> None:
        """Note what a message says and send it."""
        if message["type"] == "http.response.start":
            self.status = message["status"]
            for name, value in message["headers"]:
                if name == b"cache-status":
                    self.store = value
                elif name == b"content-location":
                    self.location = value
        elif message["type"] == "http.response.body":
            self.body_bytes += len(message["body"])
        await self.send(message)


class Watch:
    """Sees every request begin and end; refuses and changes nothing."""

    def __init__(
        self,
        app: ASGIApp,
        meters: Meters,
        routes: Collection[str],
        tell: Tell | None = None,
    ) -> None:
        self._app = app
        self._meters = meters
        self._routes = frozenset(routes)
        self._tell = tell
        self._bound: dict[tuple[str, str, int], _Meter] = {}
        self._in_flight = 0
        meters.in_flight.set_function(lambda: self._in_flight)
        # There from the start: a mistake that began its own series would be no increase.
        for route in self._routes:
            meters.requests.labels(route, "POST", "500")

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Handle one request."""
        if scope["type"] != ScopeType.HTTP:
            await self._app(scope, receive, send)
            return
        start_s = perf_counter()
        # The router changes the path in the scope to the one that it matched.
        path = scope["path"]
        response = _Response(send)
        self._in_flight += 1
        try:
            await self._app(scope, receive, response.pass_on)
        finally:
            self._in_flight -= 1
            self._finish(scope, path, response, perf_counter() - start_s)

    def _finish(self, scope: HTTPScope, path: str, response: _Response, duration_s: float) -> None:
        key = (path, scope["method"], response.status)
        meter = self._bound.get(key) or self._bind(scope, key)
        meter.observe(duration_s)
        meter.add()
        store = store_result(response.store) if response.store else ""
        if store:
            self._meters.store_results.add(store)
        if self._tell is not None:
            self._tell(
                scope,
                Finished(
                    meter.route,
                    method_of(key[1]),
                    response.status,
                    duration_s,
                    response.body_bytes,
                    store,
                    response.location,
                ),
            )

    def _bind(self, scope: HTTPScope, key: tuple[str, str, int]) -> _Meter:
        """Find where a request is counted; only what no caller chooses is remembered."""
        path, called, status = key
        route, method = route_of(scope, path, self._routes), method_of(called)
        meter = _Meter(
            route,
            self._meters.request_time.labels(route, method).observe,
            self._meters.requests.labels(route, method, str(status)).inc,
        )
        if path in self._routes and called == method:
            self._bound[key] = meter
        return meter


def route_of(scope: HTTPScope, path: str, routes: Collection[str]) -> str:
    """Name the route as the router has it; a path that leads nowhere has no name."""
    if path in routes:
        return path
    template = scope.get("path_template")
    return _TYPE_OF_PARAMETER.sub("}", str(template)) if template else OTHER


def method_of(method: str) -> str:
    """Name a method, or the rest of them."""
    return method if method in METHODS else OTHER


def digest_in(location: bytes) -> str:
    """Read the digest off a Content-Location, if it is that of an answer."""
    found = _DIGEST.fullmatch(location)
    return found[1].decode() if found else ""


@lru_cache(64)
def store_result(cache_status: bytes) -> str:
    """Read from a Cache-Status what the answer store did."""
    parameters = [part.strip() for part in cache_status.split(b";")[1:]]
    for word in (b"hit", b"collapsed", b"stored"):
        if word in parameters:
            return word.decode()
    return "not_stored"
