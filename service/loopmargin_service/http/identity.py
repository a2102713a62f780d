"""The layer that names each request: every response has a Request-Id and the security headers.

While the replica stops, each response also closes its connection, so that none is left
to break when the replica is gone. A caller's Request-Id is taken over when it is short and
plain. A `traceparent` is read for the log line of a bug; one that is not valid W3C Trace
Context is ignored.
"""

import re
import secrets
from itertools import count

from loopmargin_service.http.health import Readiness
from loopmargin_service.http.passing import Passing
from loopmargin_service.http.reply import Header

_CALLERS_ID = re.compile(rb"[A-Za-z0-9._-]{1,64}")
_TRACEPARENT = re.compile(
    rb"(?!ff)[0-9a-f]{2}-(?!0{32})([0-9a-f]{32})-(?!0{16})[0-9a-f]{16}-[0-9a-f]{2}"
)
_PAGES = ("/docs", "/problems")
_EVERYWHERE: tuple[Header, ...] = (
    (b"x-content-type-options", b"nosniff"),
    (b"referrer-policy", b"no-referrer"),
)
_NO_CONTENT: tuple[Header, ...] = (
    *_EVERYWHERE,
    (b"content-security-policy", b"default-src 'none'; frame-ancestors 'none'"),
)
_OWN_STYLE: tuple[Header, ...] = (
    *_EVERYWHERE,
    (
        b"content-security-policy",
        b"default-src 'none'; style-src 'self'; form-action 'none'; frame-ancestors 'none'",
    ),
)
CLOSE: Header = (b"connection", b"close")


class Identity:
    """Gives each request its name, and its response the headers that all have."""

    def __init__(self, readiness: Readiness) -> None:
        self._readiness = readiness
        self._process = secrets.token_hex(6).encode()
        self._count = count(1)

    @property
    def closing(self) -> bool:
        """Tell whether each response closes its connection now."""
        return self._readiness.draining

    def enter(self, one: Passing) -> None:
        """Name one request."""
        one.request_id = _chosen(one) or b"%b-%x" % (self._process, next(self._count))
        one.state["request_id"] = one.request_id.decode()
        if b"traceparent" in one.fields:
            _note_trace(one)
        policy = _OWN_STYLE if one.path.startswith(_PAGES) else _NO_CONTENT
        one.standing = (CLOSE, *policy) if self.closing else policy


def _chosen(one: Passing) -> bytes:
    """Take the identifier that the caller chose, if it is plain."""
    if b"request-id" not in one.fields:
        return b""
    plain = [given for given in one.every(b"request-id") if _CALLERS_ID.fullmatch(given)]
    return plain[-1] if plain else b""


def _note_trace(one: Passing) -> None:
    for given in one.every(b"traceparent"):
        if trace := _TRACEPARENT.fullmatch(given):
            one.state["trace_id"] = trace[1].decode()
