"""The layer in front of the router that answers a request equal to one already answered.

It looks only at what the answer depends on and refuses nothing: whatever is unusual goes
on to the router with its body untouched or handed on whole.
"""

from collections.abc import Collection

from litestar.types import HTTPRequestEvent, Receive

from loopmargin_service.http.media import read_body
from loopmargin_service.http.passing import Passing
from loopmargin_service.http.reply import Reply
from loopmargin_service.http.store import AnswerStore, RequestKey


class Repeats:
    """Finds stored replies without decoding the question."""

    def __init__(self, store: AnswerStore, paths: Collection[str], body_limit: int) -> None:
        self._store = store
        self.paths = frozenset(paths)
        self._limit = body_limit

    def ready(self, one: Passing, body: bytes) -> Reply | None:
        """Find the reply to a request that may repeat an earlier one."""
        fields = one.fields
        content_type, accept = fields.get(b"content-type", b""), fields.get(b"accept", b"")
        return self._store.ready(RequestKey(one.path, content_type, accept, body))

    def possible(self, one: Passing) -> bool:
        """Tell from its head whether a request may repeat an earlier one."""
        fields = one.fields
        # The server has refused anything but digits before we see it.
        length = fields.get(b"content-length")
        return (
            one.path in self.paths
            and one.method == "POST"
            and not one.scope["query_string"]
            and not fields.get(b"content-encoding")
            and length is not None
            and int(length) <= self._limit
        )

    async def read(self, one: Passing, receive: Receive) -> tuple[Reply | None, Receive]:
        """Read the body of a request; give the reply, or what lets the router read it again."""
        body = await read_body(receive, self._limit, int(one.fields[b"content-length"]))
        reply = self.ready(one, body)
        return reply, _handed_on(body, receive)


def _handed_on(body: bytes, receive: Receive) -> Receive:
    """Let the router read a body that has been read already, then what follows it."""
    first: list[HTTPRequestEvent] = [{"type": "http.request", "body": body, "more_body": False}]

    async def again() -> object:
        return first.pop() if first else await receive()

    return again  # type: ignore[return-value]
