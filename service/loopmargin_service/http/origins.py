"""The layer that lets pages of other origins ask from a browser (CORS), where some may.

It is only there when origins are listed. No origin is ever let in by a pattern and no
credentials of the browser's own are: a page sends the key that its user gave it.
"""

from loopmargin_service.http.passing import Passing
from loopmargin_service.http.reply import Header, Reply

_METHODS = b"GET, HEAD, POST"
_SENT = b"accept, authorization, content-type, if-none-match, request-id, traceparent"
_READ = (
    b"cache-status, content-location, etag, ratelimit, ratelimit-policy, request-id, retry-after"
)
_KEPT_S = b"600"


class Origins:
    """Answers a browser's question beforehand, and names the origin on what it may read."""

    def __init__(self, origins: str) -> None:
        self._origins = frozenset(origins.encode().split(b","))

    def enter(self, one: Passing) -> Reply | None:
        """Say on the response who may read it; answer what is asked beforehand."""
        origin = one.fields.get(b"origin", b"")
        allowed = self._allowed(origin)
        if one.method == "OPTIONS" and b"access-control-request-method" in one.fields:
            return self._beforehand(origin, allowed)
        one.standing += allowed
        return None

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

    def _beforehand(self, origin: bytes, allowed: tuple[Header, ...]) -> Reply:
        permitted: tuple[Header, ...] = (
            (b"access-control-allow-methods", _METHODS),
            (b"access-control-allow-headers", _SENT),
            (b"access-control-max-age", _KEPT_S),
        )
        return Reply(204, (*allowed, *permitted) if origin in self._origins else allowed, b"")
