"""What an exchange and its driver hand each other, and what the caller gets."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Generic, TypedDict, TypeVar

import httpx

from loopmargin.options import Headers
from loopmargin_wire.answer import Answer

A = TypeVar("A", bound=Answer)


@dataclass(frozen=True)
class Call(Generic[A]):
    """What is asked: the request line, the body, and the type of the answer."""

    method: str
    path: str
    content: bytes | None
    answer: type[A]


class Arguments(TypedDict):
    """Arguments of `httpx.Client.stream`, which the asynchronous client shares."""

    method: str
    url: str
    headers: Headers
    content: bytes | None
    timeout: httpx.Timeout
    follow_redirects: bool


@dataclass(frozen=True)
class Send:
    """One attempt: a request and the seconds it may take, from connecting to the last byte."""

    method: str
    url: str
    headers: Headers
    content: bytes | None
    limit_s: float
    connect_s: float

    @property
    def arguments(self) -> Arguments:
        """What the HTTP library is called with; the limits are those of each single step."""
        return {
            "method": self.method,
            "url": self.url,
            "headers": self.headers,
            "content": self.content,
            "timeout": httpx.Timeout(self.limit_s, connect=self.connect_s),
            # A redirect would carry our headers, a key among them, to another host.
            "follow_redirects": False,
        }


@dataclass(frozen=True)
class Pause:
    """Seconds to sleep before the next attempt."""

    seconds: float


@dataclass(frozen=True)
class Arrival:
    """A response with its whole body."""

    status: int
    headers: httpx.Headers
    body: bytes

    def header(self, name: str) -> str:
        """Return the value of a header field, empty when absent."""
        return str(self.headers.get(name, ""))

    @property
    def media_type(self) -> str:
        """Content type without its parameters."""
        return self.header("content-type").partition(";")[0].strip().lower()

    @property
    def request_id(self) -> str:
        """Identifier under which the service has logged the request."""
        return self.header("request-id")


@dataclass(frozen=True)
class Reply(Generic[A]):
    """An answer together with what the response said about it."""

    answer: A
    request_id: str
    cache_status: str
    content_location: str
    attempts: int
    headers: Mapping[str, str] = field(repr=False)


Outcome = Arrival | httpx.RequestError | TimeoutError | None
