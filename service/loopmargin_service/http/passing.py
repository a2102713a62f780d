"""One request on its way in through the layers, and its response on its way out.

The header is read once for all layers, and what they say on the response goes out in one
place; each layer keeps here what another one needs.
"""

from collections.abc import Callable, Iterable
from functools import lru_cache
from typing import TYPE_CHECKING, Protocol, cast

from litestar.types import HTTPScope, Message, Send

from loopmargin_service.http.reply import Header, lines

if TYPE_CHECKING:
    from loopmargin_service.http.keys import Key

# A field that may be given several times is a list, as if its values stood in one
# (RFC 9110, section 5.3); of any other the last one counts.
_LISTS = (b"accept", b"prefer")

Telling = Callable[[], tuple[Header, ...]]


class Allowance(Protocol):
    """What the caller of a request may still ask for, where callers have quotas."""

    async def charge(self, units: int) -> None:
        """Charge some units, or refuse."""

    def charge_now(self, units: int) -> bool:
        """Charge some units, or refuse, where that needs no waiting; tell whether it was done."""

    def close(self) -> None:
        """Take note that the request is over."""


class Passing:
    """What is known of one request, and of its response as far as it has gone.

    `entered`, `charged` and `looked_up` tell how far it has come, `refused` what has stopped it
    there; `repeats` tells that some field is there twice. `standing` are headers that every
    response to it has, `told` gives those that depend on how it went; `status` is 0 until a
    response begins.
    """

    __slots__ = (
        "allowance",
        "body_bytes",
        "charged",
        "entered",
        "fields",
        "key",
        "location",
        "looked_up",
        "method",
        "path",
        "refused",
        "repeats",
        "request_id",
        "scope",
        "send",
        "standing",
        "start_s",
        "state",
        "status",
        "store",
        "told",
    )

    send: Send

    def __init__(self, scope: HTTPScope, start_s: float) -> None:
        self.scope = scope
        self.start_s = start_s
        self.state = scope["state"]
        # The router changes the path in the scope to the one that it matched.
        self.path = scope["path"]
        self.method = scope["method"]
        headers = cast("list[Header]", scope["headers"])
        self.fields = fields_of(headers)
        self.repeats = len(self.fields) < len(headers)
        self.request_id = b""
        self.key: Key | None = None
        self.allowance: Allowance | None = None
        self.standing: tuple[Header, ...] = ()
        self.told: Telling | None = None
        self.refused: Exception | None = None
        self.entered = self.charged = self.looked_up = False
        self.status = 0
        self.body_bytes = 0
        self.store = b""
        self.location = b""

    def every(self, name: bytes) -> list[bytes]:
        """Give all values of one field, which mostly are none or one."""
        if self.repeats:
            return [value for found, value in self.scope["headers"] if found == name]
        return [self.fields[name]] if name in self.fields else []

    def begin(self, status: int, headers: Iterable[Header]) -> None:
        """Note how a response begins."""
        self.status = status
        for name, value in headers:
            if name == b"cache-status":
                self.store = value
            elif name == b"content-location":
                self.location = value

    def said(self) -> list[Header]:
        """Give the headers that the layers put on every response."""
        said = [(b"request-id", self.request_id), *self.standing]
        return said if self.told is None else [*said, *self.told()]

    def said_lines(self) -> bytes:
        """Write them as they go over the wire, with the end of the head."""
        own = b"request-id: %b\r\n" % self.request_id
        told = b"" if self.told is None else lines(self.told())
        return own + _standing_lines(self.standing) + told + b"\r\n"

    async def pass_on(self, message: Message) -> None:
        """Note what a message of the response says, and send it."""
        if message["type"] == "http.response.start":
            headers = message["headers"]
            self.begin(message["status"], headers)
            message["headers"] = [*headers, *self.said()]
        elif message["type"] == "http.response.body":
            self.body_bytes += len(message["body"])
        await self.send(message)


@lru_cache(64)
def _standing_lines(standing: tuple[Header, ...]) -> bytes:
    return lines(standing)


def fields_of(headers: list[Header]) -> dict[bytes, bytes]:
    """Give the fields of a request's header by their names."""
    fields = dict(headers)
    if len(fields) < len(headers):
        for name in _LISTS:
            values = [value for found, value in headers if found == name and value]
            if len(values) > 1:
                fields[name] = b",".join(values)
    return fields
