"""Requests counted by route, method, status and what the store did, at one addition each.

What is counted stands here as plain numbers and becomes metrics when they are read. Only the
thread of the event loop counts.
"""

from bisect import bisect_left
from collections.abc import Iterable, Iterator

from prometheus_client.metrics_core import (
    CounterMetricFamily,
    HistogramMetricFamily,
    Metric,
)
from prometheus_client.registry import Collector

# From a stored answer to a long sweep. [s]
REQUEST_BOUNDS = (
    0.0005,
    0.001,
    0.0025,
    0.005,
    0.01,
    0.025,
    0.05,
    0.1,
    0.25,
    0.5,
    1.0,
    2.5,
    5.0,
    10.0,
    30.0,
)
_EDGES = [*map(str, REQUEST_BOUNDS), "+Inf"]


class Alike:
    """Requests that are alike in all that is counted: how many took how long."""

    __slots__ = ("buckets", "method", "route", "status", "store", "sum_s")

    def __init__(self, route: str, method: str, status: int, store: str) -> None:
        self.route = route
        self.method = method
        self.status = status
        self.store = store
        self.buckets = [0] * len(_EDGES)
        self.sum_s = 0.0

    def add(self, duration_s: float) -> None:
        """Count one more."""
        self.buckets[bisect_left(REQUEST_BOUNDS, duration_s)] += 1
        self.sum_s += duration_s


class RequestCounts(Collector):
    """All requests of an application; every label is of a closed list that others keep."""

    def __init__(self, store_results: Iterable[str]) -> None:
        self._store_results = tuple(store_results)
        self._alike: dict[tuple[str, str, int, str], Alike] = {}

    def alike(self, route: str, method: str, status: int, store: str) -> Alike:
        """Find where a request is counted."""
        key = (route, method, status, store)
        found = self._alike.get(key)
        if found is None:
            found = self._alike[key] = Alike(*key)
        return found

    def collect(self) -> Iterator[Metric]:
        """Read everything."""
        rows = list(self._alike.values())
        yield _requests(rows)
        yield _durations(rows)
        yield self._results(rows)

    def _results(self, rows: list[Alike]) -> Metric:
        counted = dict.fromkeys(self._store_results, 0)
        for row in rows:
            if row.store:
                counted[row.store] += sum(row.buckets)
        family = CounterMetricFamily(
            "loopmargin_store_results",
            "Questions by what the answer store did.",
            labels=("result",),
        )
        for word, count in counted.items():
            family.add_metric((word,), count)
        return family


def _requests(rows: list[Alike]) -> Metric:
    counted: dict[tuple[str, str, str], int] = {}
    for row in rows:
        key = (row.route, row.method, str(row.status))
        counted[key] = counted.get(key, 0) + sum(row.buckets)
    family = CounterMetricFamily(
        "loopmargin_http_requests",
        "Requests by route, method and status; status 0 when the caller left before any.",
        labels=("route", "method", "status"),
    )
    for key, count in counted.items():
        family.add_metric(key, count)
    return family


def _durations(rows: list[Alike]) -> Metric:
    together: dict[tuple[str, str], Alike] = {}
    for row in rows:
        if any(row.buckets):
            key = (row.route, row.method)
            whole = together.setdefault(key, Alike(*key, 0, ""))
            whole.buckets = [a + b for a, b in zip(whole.buckets, row.buckets, strict=True)]
            whole.sum_s += row.sum_s
    family = HistogramMetricFamily(
        "loopmargin_http_request_duration_seconds",
        "Time from the first byte of a request's header to the last of its response.",
        labels=("route", "method"),
    )
    for key, whole in together.items():
        family.add_metric(key, list(_cumulative(whole.buckets)), whole.sum_s)
    return family


def _cumulative(buckets: list[int]) -> Iterator[tuple[str, int]]:
    """Give each bucket with all that are below it, as the format has it."""
    below = 0
    for edge, count in zip(_EDGES, buckets, strict=True):
        below += count
        yield edge, below
