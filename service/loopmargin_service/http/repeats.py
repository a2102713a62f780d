"""The layer in front of the router that answers a request equal to one already answered.

It looks only at what the answer depends on and refuses nothing: whatever is unusual goes
on to the router with its body untouched or handed on whole.
"""

from collections.abc import Collection

from litestar.enums import ScopeType
from litestar.types import ASGIApp, HTTPRequestEvent, Receive, Scope, Send

from loopmargin_service.http.media import asked, read_body
from loopmargin_service.http.store import AnswerStore, RequestKey


class Repeats:
    """Sends stored replies without decoding the question."""

    def __init__(
        self, app: ASGIApp, store: AnswerStore, paths: Collection[str], body_limit: int
    ) -> None:
        self._app = app
        self._store = store
        self._paths = frozenset(paths)
        self._limit = body_limit

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Handle one request."""
        if scope["type"] != ScopeType.HTTP or scope["path"] not in self._paths:
            await self._app(scope, receive, send)
            return
        header = asked(scope)
        length = header.content_length
        if (
            scope["method"] != "POST"
            or scope["query_string"]
            or header.content_encoding
            or length is None
            or length > self._limit
        ):
            await self._app(scope, receive, send)
            return
        body = await read_body(receive, self._limit, length)
        key = RequestKey(scope["path"], header.content_type, header.accept, body)
        reply = self._store.ready(key)
        if reply is None:
            await self._app(scope, _handed_on(body, receive), send)
        else:
            await reply(scope, receive, send)


def _handed_on(body: bytes, receive: Receive) -> Receive:
    """Let the router read a body that has been read already, then what follows it."""
    first: list[HTTPRequestEvent] = [{"type": "http.request", "body": body, "more_body": False}]

    async def again() -> object:
        return first.pop() if first else await receive()

    return again  # type: ignore[return-value]
