"""The layer that lets pages of other origins ask from a browser (CORS), where some may.

It is only there when origins are listed. No origin is ever let in by a pattern and no
credentials of the browser's own are: a page sends the key that its user gave it.
"""

from litestar.enums import ScopeType
from litestar.types import ASGIApp, Receive, Scope, Send

from loopmargin_service.http.reply import Header, Reply

_METHODS = b"GET, HEAD, POST"
_SENT = b"accept, authorization, content-type, if-none-match, request-id, traceparent"
_READ = (
    b"cache-status, content-location, etag, ratelimit, ratelimit-policy, request-id, retry-after"
)
_KEPT_S = b"600"


class Origins:
    """Answers a browser's question beforehand, and names the origin on what it may read."""

    def __init__(self, app: ASGIApp, origins: str) -> None:
        self._app = app
        self._origins = frozenset(origins.encode().split(b","))

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Handle one request."""
        if scope["type"] != ScopeType.HTTP:
            await self._app(scope, receive, send)
            return
        fields = dict(scope["headers"])
        origin = fields.get(b"origin", b"")
        if scope["method"] == "OPTIONS" and b"access-control-request-method" in fields:
            await self._beforehand(origin)(scope, receive, send)
            return
        scope["state"]["told"].append(lambda: self._allowed(origin))
        await self._app(scope, receive, send)

    def _allowed(self, origin: bytes) -> tuple[Header, ...]:
        # Said to every origin, so that a cache does not serve one what another got.
        vary = (b"vary", b"origin")
        if origin not in self._origins:
            return (vary,)
        return (
            vary,
            (b"access-control-allow-origin", origin),
            (b"access-control-expose-headers", _READ),
        )

    def _beforehand(self, origin: bytes) -> Reply:
        permitted: tuple[Header, ...] = (
            (b"access-control-allow-methods", _METHODS),
            (b"access-control-allow-headers", _SENT),
            (b"access-control-max-age", _KEPT_S),
        )
        headers = self._allowed(origin)
        return Reply(204, (*headers, *permitted) if origin in self._origins else headers, b"")
