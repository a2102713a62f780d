"""The outermost layer: every response has a Request-Id and the security headers.

Layers further in may have something to say on every response, their own refusals included;
they put what tells it into `scope["state"]["told"]`.

While the replica stops, each response also closes its connection, so that none is left
to break when the replica is gone. A caller's Request-Id is taken over when it is short and
plain. A `traceparent` is read for the log line of a bug; one that is not valid W3C Trace
Context is ignored.
"""

import re
import secrets
from collections.abc import Callable
from itertools import count

from litestar.enums import ScopeType
from litestar.types import ASGIApp, Message, Receive, Scope, Send

from loopmargin_service.http.health import Readiness
from loopmargin_service.http.media import ClientGoneError
from loopmargin_service.http.problems import MEDIA_TYPE, encoded, instance
from loopmargin_service.http.reply import Header, Reply, length
from loopmargin_service.http.responding import problem_of

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

Telling = Callable[[], tuple[Header, ...]]


class Identity:
    """Names each request, and answers for a mistake that nothing further in has caught."""

    def __init__(self, app: ASGIApp, readiness: Readiness) -> None:
        self._app = app
        self._readiness = readiness
        self._process = secrets.token_hex(6)
        self._count = count(1)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Handle one request."""
        if scope["type"] != ScopeType.HTTP:
            await self._app(scope, receive, send)
            return
        request_id = self._request_id(scope)
        scope["state"]["request_id"] = request_id.decode()
        told: list[Telling] = []
        scope["state"]["told"] = told
        policy = _OWN_STYLE if scope["path"].startswith(_PAGES) else _NO_CONTENT
        added = ((b"request-id", request_id), *policy)
        if self._readiness.draining:
            added = (CLOSE, *added)
        started = False

        async def send_named(message: Message) -> None:
            nonlocal started
            if message["type"] == "http.response.start":
                started = True
                further = [header for tell in told for header in tell()]
                message["headers"] = [*message["headers"], *added, *further]
            await send(message)

        try:
            await self._app(scope, receive, send_named)
        except ClientGoneError:
            return
        except Exception as error:
            if started:
                raise
            await _apology(error, scope)(scope, receive, send_named)

    def _request_id(self, scope: Scope) -> bytes:
        """Take the caller's identifier if it is plain, otherwise count on; note the trace."""
        chosen = b""
        for name, value in scope["headers"]:
            if name == b"request-id" and _CALLERS_ID.fullmatch(value):
                chosen = value
            elif name == b"traceparent" and (trace := _TRACEPARENT.fullmatch(value)):
                scope["state"]["trace_id"] = trace[1].decode()
        return chosen or f"{self._process}-{next(self._count):x}".encode()


def _apology(error: Exception, scope: Scope) -> Reply:
    problem = problem_of(error, scope)
    body = encoded(problem, instance(scope))
    headers = (
        (b"content-type", MEDIA_TYPE.encode()),
        (b"cache-control", b"no-store"),
        *problem.headers,
        length(body),
    )
    return Reply(problem.kind.status, headers, body)
