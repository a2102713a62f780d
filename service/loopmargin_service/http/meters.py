"""Everything that one service process counts, by name; read in Prometheus's text format.

Whoever has something to count is handed the Meters of its application and uses one of
their fields: `add` a word to a Tally, `observe` a duration, or let a gauge read a function.
Every label takes its words from a closed list, so that no caller can make the number of
series grow; a word outside the list is counted as `other`.
"""

import platform
from collections.abc import Callable, Iterable
from importlib.metadata import version

from prometheus_client import (
    CollectorRegistry,
    Counter,
    Gauge,
    Histogram,
    Info,
    ProcessCollector,
    disable_created_metrics,
)
from prometheus_client.metrics_core import CounterMetricFamily, Metric
from prometheus_client.registry import Collector

from loopmargin_service.http.counts import RequestCounts
from loopmargin_service.questions.edition import EDITION

OTHER = "other"
METHODS = ("GET", "HEAD", "POST", "OPTIONS", "PUT", "PATCH", "DELETE")
# How the answer store was involved, as Cache-Status says it (RFC 9211).
STORE_RESULTS = ("hit", "stored", "collapsed", "not_stored")
STORE_ERRORS = ("refused", "timeout", "rejected", "paused", "foreign")
REFUSALS = ("queue_full", "too_much_work", "past_deadline", "overloaded", "draining")
# Why a cluster did not solve a chunk of a sweep.
HANDED_BACK = ("connection", "no_workers", "paused", "edition", "cancelled", "too_long")
LIMITS = ("rate", "concurrency")
KEY_FAULTS = ("missing", "unknown", "expired")
CONNECTION_FAULTS = ("request", "too_slow", "target_too_long", "head_too_long", "crowded")

COMPUTE_BOUNDS = (0.001, 0.0025, 0.005, 0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1, 2.5, 5, 10, 30, 60)


class Tally(Collector):
    """A counter split by one label, kept as plain numbers until it is read.

    Only the thread of the event loop counts.
    """

    def __init__(
        self, registry: CollectorRegistry, name: str, meaning: str, label: str, words: Iterable[str]
    ) -> None:
        self._described = (name, meaning, None, (label,))
        self._counts = dict.fromkeys((*words, OTHER), 0)
        registry.register(self)

    def add(self, word: str) -> None:
        """Count one more of a word."""
        self._counts[word if word in self._counts else OTHER] += 1

    def collect(self) -> Iterable[Metric]:
        """Read it."""
        family = CounterMetricFamily(*self._described)
        for word, count in self._counts.items():
            family.add_metric((word,), count)
        yield family


class Reading(Collector):
    """A counter that somebody else keeps, read when the meters are."""

    def __init__(self, registry: CollectorRegistry, name: str, meaning: str) -> None:
        self._name = name
        self._meaning = meaning
        self._read: Callable[[], float] = lambda: 0.0
        registry.register(self)

    def set_function(self, read: Callable[[], float]) -> None:
        """Say where the count stands."""
        self._read = read

    def collect(self) -> Iterable[Metric]:
        """Read it."""
        yield CounterMetricFamily(self._name, self._meaning, value=self._read())


class Meters:
    """The meters of one application, in a registry of its own.

    What somebody else keeps is read through `set_function`; until that is given it is 0.
    """

    def __init__(self, questions: Iterable[str] = ()) -> None:
        # A time of creation for each series would double their number and tell nothing.
        disable_created_metrics()  # type: ignore[no-untyped-call]
        self.registry = CollectorRegistry()
        self._set_up_requests()
        self._set_up_store()
        self._set_up_work(tuple(questions))
        self._set_up_callers()
        self._set_up_process()

    def computed(self, question: str, duration_s: float) -> None:
        """Take note of one calculation that was done, and how long it took."""
        self._compute_time.labels(question).observe(duration_s)

    def _set_up_requests(self) -> None:
        self.requests = RequestCounts((*STORE_RESULTS, OTHER))
        self.registry.register(self.requests)
        self.in_flight = self._gauge("http_requests_in_flight", "Requests being answered now.")
        self.log_lines_dropped = Reading(
            self.registry,
            "loopmargin_log_lines_dropped",
            "Log lines dropped because whoever reads them is too slow.",
        )

    def _set_up_store(self) -> None:
        self.store_errors = self._tally(
            "store_errors", "Calls of the shared store that failed.", "kind", STORE_ERRORS
        )
        self.store_degraded = self._gauge(
            "store_degraded", "1 while answers are given without the shared store."
        )
        self.breaker_open = self._gauge(
            "store_breaker_open", "1 while the shared store is left alone after a failure."
        )
        self.store_bytes = self._gauge("store_held_bytes", "Memory of answers in this process.")
        self.store_entries = self._gauge("store_held_entries", "Entries held in this process.")

    def _set_up_work(self, questions: tuple[str, ...]) -> None:
        self._compute_time = Histogram(
            "loopmargin_computation_duration_seconds",
            "Time from the start of waiting for a calculation to its answer.",
            ("question",),
            buckets=COMPUTE_BOUNDS,
            registry=self.registry,
        )
        self.not_converged = self._tally(
            "not_converged", "Solves without a converged number.", "question", questions
        )
        self.deadline_overruns = self._tally(
            "deadline_overruns", "Calculations stopped at the deadline.", "question", questions
        )
        self.refused = self._tally(
            "admission_refused", "Questions refused before computing.", "reason", REFUSALS
        )
        self.queue_length = self._gauge("queue_length", "Calculations that wait for a worker.")
        self.queue_work = self._gauge(
            "queue_work_seconds", "Estimated work waiting or in progress, on one core."
        )
        self.workers_busy = self._gauge("workers_busy", "Workers that calculate now.")
        self.worker_restarts = Reading(
            self.registry,
            "loopmargin_worker_restarts",
            "Worker processes replaced: lost, or ended for a caller or a deadline that had gone.",
        )

        self.handed_back = self._tally(
            "cluster_handed_back",
            "Chunks of sweeps solved here because the cluster could not.",
            "reason",
            HANDED_BACK,
        )
        self.cluster_degraded = self._gauge(
            "cluster_degraded", "1 while sweeps are solved without the cluster."
        )

    def _set_up_callers(self) -> None:
        self.rate_limited = self._tally(
            "rate_limited", "Requests refused by a caller's limits.", "limit", LIMITS
        )
        self.unauthorised = self._tally(
            "unauthorised", "Requests refused for their key.", "reason", KEY_FAULTS
        )
        self.connections_refused = self._tally(
            "connections_refused",
            "Connections closed before a request was whole; these are in no other count.",
            "reason",
            CONNECTION_FAULTS,
        )
        self.key_reload_failures = Counter(
            "loopmargin_key_reload_failures",
            "Times that a changed file of keys could not be used.",
            registry=self.registry,
        )

    def _set_up_process(self) -> None:
        build = Info("loopmargin_build", "What runs here.", registry=self.registry)
        build.info(
            {
                "version": version("loopmargin"),
                "edition": EDITION,
                "python": platform.python_version(),
            }
        )
        ProcessCollector(registry=self.registry)

    def _tally(self, name: str, meaning: str, label: str, words: Iterable[str]) -> Tally:
        return Tally(self.registry, f"loopmargin_{name}", meaning, label, words)

    def _gauge(self, name: str, meaning: str) -> Gauge:
        return Gauge(f"loopmargin_{name}", meaning, registry=self.registry)
