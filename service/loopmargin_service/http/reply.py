"""A whole response as one ASGI callable: status, headers, body, and nothing to negotiate."""

from typing import Any, Literal, NamedTuple

from litestar import Request
from litestar.datastructures import State
from litestar.enums import ScopeType
from litestar.types import Receive, Scope, Send

Header = tuple[bytes, bytes]
Asking = Request[Any, Any, State]
READING: tuple[Literal["GET"], Literal["HEAD"]] = ("GET", "HEAD")


class Reply(NamedTuple):
    """A response that is already bytes; HEAD gets its headers without the body."""

    status: int
    headers: tuple[Header, ...]
    body: bytes

    async def __call__(self, scope: Scope, _receive: Receive, send: Send) -> None:
        """Send it."""
        await send(
            {"type": "http.response.start", "status": self.status, "headers": list(self.headers)}
        )
        silent = scope["type"] == ScopeType.HTTP and scope["method"] == "HEAD"
        await send(
            {
                "type": "http.response.body",
                "body": b"" if silent else self.body,
                "more_body": False,
            }
        )


def length(body: bytes) -> Header:
    """Length of a body, for HEAD as for GET."""
    return (b"content-length", str(len(body)).encode())
