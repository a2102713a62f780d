"""The layer that times, counts and describes every request, whatever answers it.

What is known of a response is read off the response itself: its status, its length,
its Cache-Status and the digest in its Content-Location. So a layer further in needs to know
nothing of metrics or logs; it leaves `request_id`, `trace_id` and `key_id` in the scope's state.
"""

import re
from collections.abc import Callable, Collection
from functools import lru_cache
from time import perf_counter

from litestar.types import HTTPScope

from loopmargin_service.http.counts import Alike
from loopmargin_service.http.meters import METHODS, OTHER, Meters
from loopmargin_service.http.passing import Passing

_DIGEST = re.compile(rb"/v1/answers/([0-9a-f]{8,128})")
_TYPE_OF_PARAMETER = re.compile(r":\w+\}")

# Is told of each request after its last byte, with those it is alike and how long it took. [s]
Tell = Callable[[Passing, Alike, float], None]


class Watch:
    """Sees every request begin and end; refuses and changes nothing."""

    def __init__(self, meters: Meters, routes: Collection[str], tell: Tell | None = None) -> None:
        self._counts = meters.requests
        self._routes = frozenset(routes)
        self._tell = tell
        self._known: dict[tuple[str, str, int, bytes], Alike] = {}
        self._in_flight = 0
        meters.in_flight.set_function(lambda: self._in_flight)
        # There from the start: a mistake that began its own series would be no increase.
        for route in self._routes:
            self._counts.alike(route, "POST", 500, "")

    def begin(self, scope: HTTPScope) -> Passing:
        """Begin one request."""
        self._in_flight += 1
        return Passing(scope, perf_counter())

    def finish(self, one: Passing) -> None:
        """Count one request, and tell of it."""
        duration_s = perf_counter() - one.start_s
        self._in_flight -= 1
        key = (one.path, one.method, one.status, one.store)
        alike = self._known.get(key) or self._found(one)
        alike.add(duration_s)
        if self._tell is not None:
            self._tell(one, alike, duration_s)

    def _found(self, one: Passing) -> Alike:
        """Find where a request is counted; only what no caller chooses is remembered."""
        route, method = route_of(one.scope, one.path, self._routes), method_of(one.method)
        store = store_result(one.store) if one.store else ""
        alike = self._counts.alike(route, method, one.status, store)
        if one.path in self._routes and one.method == method:
            self._known[one.path, method, one.status, one.store] = alike
        return alike


def route_of(scope: HTTPScope, path: str, routes: Collection[str]) -> str:
    """Name the route as the router has it; a path that leads nowhere has no name."""
    if path in routes:
        return path
    template = scope.get("path_template")
    return _TYPE_OF_PARAMETER.sub("}", str(template)) if template else OTHER


def method_of(method: str) -> str:
    """Name a method, or the rest of them."""
    return method if method in METHODS else OTHER


def digest_in(location: bytes) -> bytes:
    """Read the digest off a Content-Location, if it is that of an answer."""
    found = _DIGEST.fullmatch(location)
    return found[1] if found else b""


@lru_cache(64)
def store_result(cache_status: bytes) -> str:
    """Read from a Cache-Status what the answer store did."""
    parameters = [part.strip() for part in cache_status.split(b";")[1:]]
    for word in (b"hit", b"collapsed", b"stored"):
        if word in parameters:
            return word.decode()
    return "not_stored"
