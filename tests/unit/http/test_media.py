"""Content-Type, Accept, Content-Encoding and length of a body."""

import asyncio

import pytest
from litestar.types import HTTPReceiveMessage

from loopmargin_service.http import media
from loopmargin_service.http.media import Asked, ClientGoneError, Media
from loopmargin_service.http.problems import ProblemError


@pytest.mark.parametrize(
    ("header", "expected"),
    [
        (b"application/json", Media.JSON),
        (b"Application/JSON ; charset=UTF-8", Media.JSON),
        (b'application/json;charset="utf-8"', Media.JSON),
        (b"application/vnd.msgpack", Media.MSGPACK),
    ],
)
def test_known_content_types_are_read(header: bytes, expected: Media) -> None:
    """Case, spaces and a UTF-8 charset do not matter."""
    assert expected == media.body_media(Asked(header, b"", b"", None))


@pytest.mark.parametrize(
    "header",
    [
        b"",
        b"text/plain",
        b"application/xml",
        b"application/x-www-form-urlencoded",
        b"multipart/form-data; boundary=x",
        b"application/json; charset=latin-1",
        b"application/problem+json",
        b"application/jsonx",
        b"\xff",
    ],
)
def test_other_content_types_are_415_with_the_accepted_ones(header: bytes) -> None:
    """The refusal lists what can be sent."""
    with pytest.raises(ProblemError) as caught:
        media.body_media(Asked(header, b"", b"", None))

    assert caught.value.kind.status == 415
    assert (b"accept", media.ACCEPTED) in caught.value.headers


def test_a_compressed_body_is_415_with_the_accepted_encoding() -> None:
    """A gzip body labelled as JSON is not JSON."""
    with pytest.raises(ProblemError) as caught:
        media.body_media(Asked(b"application/json", b"", b"gzip", None))

    assert (b"accept-encoding", b"identity") in caught.value.headers


@pytest.mark.parametrize(
    ("accept", "expected"),
    [
        (b"", Media.JSON),
        (b"*/*", Media.JSON),
        (b"application/*", Media.JSON),
        (b"application/json", Media.JSON),
        (b"application/vnd.msgpack", Media.MSGPACK),
        (b"application/vnd.msgpack, */*", Media.MSGPACK),
        (b"application/json;q=0.5, application/vnd.msgpack", Media.MSGPACK),
        (b"application/json, application/vnd.msgpack;q=0.9", Media.JSON),
        (b"application/vnd.msgpack;q=0.2, */*;q=0.8", Media.JSON),
        (b"application/json;q=0, */*", Media.MSGPACK),
        (b"text/html, */*;q=0.1", Media.JSON),
        (b"application/json;q=0", None),
        (b"text/html", None),
        (b"*/*;q=0", None),
        (b"garbage", Media.JSON),
        (b"application/json;q=high", Media.JSON),
        (b"application/json;q=7", Media.JSON),
        (b";;;,,,", Media.JSON),
        (b"APPLICATION/VND.MSGPACK", Media.MSGPACK),
    ],
)
def test_accept_is_negotiated_by_quality_then_by_name(
    accept: bytes, expected: Media | None
) -> None:
    """Quality decides, a draw goes to what is named most exactly; garbage counts as absent."""
    assert expected is media.wanted(accept)


def test_nothing_acceptable_is_406() -> None:
    """A caller that excludes both encodings is told so."""
    with pytest.raises(ProblemError) as caught:
        media.answer_media(Asked(b"", b"text/html", b"", None))

    assert caught.value.kind.status == 406


def _read(chunks: list[bytes], limit: int, declared: int | None = None) -> bytes:
    """Read a body that arrives in chunks, then a disconnect."""
    left = list(chunks)

    async def receive() -> HTTPReceiveMessage:
        if not left:
            return {"type": "http.disconnect"}
        chunk = left.pop(0)
        return {"type": "http.request", "body": chunk, "more_body": bool(left) or chunk == b"..."}

    return asyncio.run(media.read_body(receive, limit, declared))


def test_a_body_in_pieces_is_put_together() -> None:
    """Chunks arrive as they like."""
    assert _read([b"ab", b"", b"c"], 3) == b"abc"


def test_a_body_one_byte_too_long_is_413() -> None:
    """The limit counts what arrives, whatever was declared."""
    with pytest.raises(ProblemError) as caught:
        _read([b"ab", b"cd"], 3)

    assert caught.value.kind.status == 413


def test_a_body_declared_too_long_is_refused_unread() -> None:
    """Nothing is received."""
    with pytest.raises(ProblemError, match="longer than 3 bytes"):
        _read([], 3, declared=4)


def test_a_caller_who_hangs_up_is_not_answered() -> None:
    """There is nobody to answer."""
    with pytest.raises(ClientGoneError):
        _read([b"..."], 10)
