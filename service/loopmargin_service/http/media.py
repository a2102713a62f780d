"""Which encoding a body has and which one the caller wants; how long a body may be.

JSON is the default. msgpack is spoken when the Content-Type or the Accept header names
its registered type. An Accept header that cannot be read counts as absent.
"""

from collections.abc import Sequence
from enum import Enum
from functools import lru_cache
from typing import NamedTuple, TypeVar, cast

from litestar.types import HTTPScope, Receive, Scope

from loopmargin_service.http.passing import fields_of
from loopmargin_service.http.problems import (
    BODY_TOO_LONG,
    MEDIA_UNSUPPORTED,
    NOTHING_ACCEPTABLE,
    QUERY_UNKNOWN,
    ProblemError,
)


class Media(Enum):
    """The encodings of the wire."""

    JSON = "application/json"
    MSGPACK = "application/vnd.msgpack"


M = TypeVar("M", bound=Enum)

ACCEPTED = b", ".join(media.value.encode() for media in Media)


class Asked(NamedTuple):
    """What the header of a request says about its body and the wanted answer."""

    content_type: bytes
    accept: bytes
    content_encoding: bytes
    content_length: int | None
    prefer: bytes = b""


def asked(scope: HTTPScope) -> Asked:
    """Collect the fields that decide how a question is read and answered."""
    fields = fields_of(cast("list[tuple[bytes, bytes]]", scope["headers"]))
    # The server has refused anything but digits before we see it.
    declared = fields.get(b"content-length")
    return Asked(
        fields.get(b"content-type", b""),
        fields.get(b"accept", b""),
        fields.get(b"content-encoding", b""),
        None if declared is None else int(declared),
        fields.get(b"prefer", b""),
    )


class ClientGoneError(Exception):
    """The caller hung up; nobody is left to answer."""


def require_no_query(scope: Scope) -> None:
    """Refuse query parameters: a question takes none, and a misspelt one must not be ignored."""
    if scope["query_string"]:
        raise ProblemError(
            QUERY_UNKNOWN,
            "This path takes no query parameters; put everything into the body.",
        )


def body_media(request: Asked) -> Media:
    """Read the Content-Type, or refuse it."""
    media = _content_media(request.content_type)
    if media is None:
        shown = request.content_type.decode("latin-1")[:100] or "absent"
        raise ProblemError(
            MEDIA_UNSUPPORTED,
            f"The Content-Type is {shown}; send {ACCEPTED.decode()}, in UTF-8.",
            headers=((b"accept", ACCEPTED),),
        )
    if request.content_encoding not in {b"", b"identity"}:
        raise ProblemError(
            MEDIA_UNSUPPORTED,
            "The body has a Content-Encoding; send it without compression.",
            headers=((b"accept", ACCEPTED), (b"accept-encoding", b"identity")),
        )
    return media


def answer_media(request: Asked) -> Media:
    """Choose the encoding of the answer, or refuse when none is acceptable."""
    media = wanted(request.accept)
    if media is None:
        raise ProblemError(
            NOTHING_ACCEPTABLE,
            f"The Accept header leaves nothing to answer with; allow {ACCEPTED.decode()}.",
        )
    return media


async def read_body(receive: Receive, limit: int, declared: int | None) -> bytes:
    """Read a body up to the limit; one that is declared too long is refused unread."""
    if declared is not None and declared > limit:
        raise _too_long(limit)
    chunks: list[bytes] = []
    size = 0
    more = True
    while more:
        message = await receive()
        if message["type"] != "http.request":
            raise ClientGoneError
        chunk = message["body"]
        size += len(chunk)
        if size > limit:
            raise _too_long(limit)
        chunks.append(chunk)
        more = message.get("more_body", False)
    return chunks[0] if len(chunks) == 1 else b"".join(chunks)


def _too_long(limit: int) -> ProblemError:
    return ProblemError(
        BODY_TOO_LONG,
        f"The body is longer than {limit} bytes; ask in smaller parts.",
    )


@lru_cache(64)
def _content_media(header: bytes) -> Media | None:
    essence, *parameters = header.decode("latin-1").lower().split(";")
    for parameter in parameters:
        name, _, value = parameter.strip().partition("=")
        if name == "charset" and value.strip('"') not in {"utf-8", "utf8"}:
            return None
    return next((media for media in Media if media.value == essence.strip()), None)


@lru_cache(64)
def wanted(header: bytes) -> Media | None:
    """Choose the encoding of an answer that an Accept header prefers."""
    return preferred(header, tuple(Media))


def preferred(header: bytes, among: Sequence[M]) -> M | None:
    """Choose what an Accept header prefers; the one named most exactly wins a draw, then the first.

    A header that cannot be read counts as absent, which accepts the first.
    """
    ranges = [
        parsed for part in header.decode("latin-1").lower().split(",") if (parsed := _range(part))
    ]
    if not ranges:
        return among[0]
    rated = [(_rate(media.value, ranges), media) for media in among]
    (quality, _), best = max(rated, key=lambda pair: pair[0])
    return best if quality > 0 else None


def _range(part: str) -> tuple[str, float] | None:
    """Split one media range into its name and quality; nothing when it cannot be read."""
    name, *parameters = (piece.strip() for piece in part.split(";"))
    if name.count("/") != 1:
        return None
    quality = 1.0
    for parameter in parameters:
        key, _, value = parameter.partition("=")
        if key.strip() == "q":
            try:
                quality = float(value)
            except ValueError:
                return None
    return (name, quality) if 0.0 <= quality <= 1.0 else None


def _rate(media: str, ranges: list[tuple[str, float]]) -> tuple[float, int]:
    """Quality of one encoding from the most specific range that covers it."""
    patterns = ("*/*", media.partition("/")[0] + "/*", media)
    covering = [(patterns.index(name), quality) for name, quality in ranges if name in patterns]
    specificity, quality = max(covering, default=(-1, 0.0))
    return (quality, specificity)
