"""The log: one JSON object a line, for each request and for what happens to the process.

A request's line holds what is known of its response and never a body, a header's text, a
path that leads nowhere, or a key: only the key's id. Everything that a caller chose is
bounded and escaped, so that no caller can write a line. Times are UTC as in RFC 3339.
"""

import json
import logging
import random
import time
from collections.abc import Iterator
from contextlib import contextmanager
from functools import lru_cache, partial

import msgspec

from loopmargin_service.http.counts import Alike
from loopmargin_service.http.lines import LineWriter
from loopmargin_service.http.passing import Passing
from loopmargin_service.http.settings import Settings
from loopmargin_service.http.watch import digest_in
from loopmargin_service.questions.edition import EDITION

OURS = logging.getLogger("loopmargin")
LONGEST_ID = 64
LONGEST_TEXT = 2_000
LONGEST_TRACE = 20_000
FIRST_OF_REFUSALS = 400
MISTAKE = 500
_ENCODED = msgspec.json.Encoder().encode
_WORDS = {logging.INFO: "info", logging.WARNING: "warning", logging.ERROR: "error"}


class RequestLog:
    """Writes a line for each request, or for a share of those that went well.

    Its names are `time`, `request_id`, `trace_id`, `key_id`, `duration_s`, `body_bytes`,
    `digest`, `level`, `event`, `method`, `route`, `status`, `store` and `edition`. `route` is
    the path as the document has it, or `other`; `status` is 0 when the caller left before
    there was one; `store` is what the answer store did; what there is none of is empty.
    """

    def __init__(self, writer: LineWriter, level: int = logging.INFO, share: float = 1.0) -> None:
        self._writer = writer
        self._level = level
        self._share = share
        self._ends: dict[Alike, bytes] = {}

    def __call__(self, one: Passing, alike: Alike, duration_s: float) -> None:
        """Tell of one request; what its line will hold is taken now and spelled later."""
        if not self._told(alike.status):
            return
        state = one.state
        names = (one.request_id, state.get("trace_id", ""), state.get("key_id", ""))
        sizes = (duration_s, one.body_bytes, one.location)
        self._writer.write(partial(self._spelled, time.time(), names, sizes, alike))

    def _spelled(
        self,
        now_s: float,
        names: tuple[bytes, str, str],
        sizes: tuple[float, int, bytes],
        alike: Alike,
    ) -> bytes:
        """Write a line; whatever a caller chose goes through the encoder."""
        request_id, trace_id, key_id = names
        duration_s, body_bytes, location = sizes
        return (
            b'{"time":"%b","request_id":%b,"trace_id":%b,"key_id":%b,'
            b'"duration_s":%.6f,"body_bytes":%d,"digest":"%b",%b'
        ) % (
            stamp(now_s).encode(),
            _ENCODED(request_id.decode()[:LONGEST_ID]),
            _ENCODED(trace_id[:LONGEST_ID]),
            _ENCODED(key_id[:LONGEST_ID]),
            duration_s,
            body_bytes,
            digest_in(location),
            self._ends.get(alike) or self._end(alike),
        )

    def _end(self, alike: Alike) -> bytes:
        """Write the end of a line, which requests that are alike have in common."""
        common = {
            "level": _WORDS[level_of(alike.status)],
            "event": "request",
            "method": alike.method,
            "route": alike.route,
            "status": alike.status,
            "store": alike.store,
            "edition": EDITION,
        }
        end = self._ends[alike] = _ENCODED(common)[1:] + b"\n"
        return end

    def _told(self, status: int) -> bool:
        if level_of(status) < self._level:
            return False
        if status >= FIRST_OF_REFUSALS or self._share >= 1.0:
            return True
        return random.random() < self._share  # noqa: S311 - no secret hangs on which are kept


class EventFormat(logging.Formatter):
    """Writes what is logged in the ordinary way as one JSON object on one line."""

    def format(self, record: logging.LogRecord) -> str:
        """Write one record; a trace of a mistake becomes a field."""
        line = {
            "time": stamp(record.created),
            "level": record.levelname.lower(),
            "event": record.getMessage()[:LONGEST_TEXT],
            "logger": record.name,
            **getattr(record, "fields", {}),
        }
        if record.exc_info:
            line["trace"] = self.formatException(record.exc_info)[-LONGEST_TRACE:]
        return json.dumps(line)


class EventHandler(logging.Handler):
    """Hands records over to the writer."""

    def __init__(self, writer: LineWriter) -> None:
        super().__init__()
        self._writer = writer
        self.setFormatter(EventFormat())

    def emit(self, record: logging.LogRecord) -> None:
        """Write one record."""
        try:
            self._writer.write(self.format(record).encode() + b"\n")
        except Exception:  # noqa: BLE001 - a log must not end what it tells of
            self.handleError(record)


@contextmanager
def logging_to(descriptor: int, settings: Settings) -> Iterator[tuple[LineWriter, RequestLog]]:
    """Send what is logged to a descriptor as long as the block lasts; of others, warnings."""
    level = logging.getLevelNamesMapping()[settings.log_level.upper()]
    writer = LineWriter(descriptor)
    root, handler = logging.getLogger(), EventHandler(writer)
    root.addHandler(handler)
    OURS.setLevel(level)
    try:
        yield writer, RequestLog(writer, level, settings.log_share)
    finally:
        root.removeHandler(handler)
        OURS.setLevel(logging.NOTSET)
        writer.close()


def level_of(status: int) -> int:
    """Rate a response: a mistake of ours, a refusal for want of time, or nothing special."""
    if status < MISTAKE:
        return logging.INFO
    return logging.ERROR if status == MISTAKE else logging.WARNING


def event(level: int, name: str, **fields: object) -> None:
    """Log something that happened to the process, with fields of its own."""
    OURS.log(level, name, extra={"fields": fields})


def stamp(now_s: float) -> str:
    """Write a time as RFC 3339 in UTC, to the millisecond."""
    whole_s, rest = divmod(int(now_s * 1000), 1000)
    return f"{_second(whole_s)}.{rest:03d}Z"


@lru_cache(maxsize=2)
def _second(whole_s: int) -> str:
    return time.strftime("%Y-%m-%dT%H:%M:%S", time.gmtime(whole_s))
