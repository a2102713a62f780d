"""A whole response as one ASGI callable: status, headers, body, and nothing to negotiate."""

from functools import cache
from http import HTTPStatus
from typing import Any, Literal, NamedTuple

from litestar import Request
from litestar.datastructures import State
from litestar.enums import ScopeType
from litestar.types import Receive, Scope, Send

Header = tuple[bytes, bytes]
Asking = Request[Any, Any, State]
READING: tuple[Literal["GET"], Literal["HEAD"]] = ("GET", "HEAD")


class Reply(NamedTuple):
    """A response that is already bytes; HEAD gets its headers without the body.

    `head` is the status line with the headers as they go over the wire, where it was written
    beforehand.
    """

    status: int
    headers: tuple[Header, ...]
    body: bytes
    head: bytes = b""

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


def head(status: int, headers: tuple[Header, ...]) -> bytes:
    """Write a status line and headers as they go over the wire, without the end of the head."""
    return _status_line(status) + lines(headers)


def lines(headers: tuple[Header, ...]) -> bytes:
    """Write headers as they go over the wire."""
    return b"".join([b"%b: %b\r\n" % header for header in headers])


@cache
def _status_line(status: int) -> bytes:
    found = HTTPStatus(status)
    return f"HTTP/1.1 {found.value} {found.phrase}\r\n".encode()
