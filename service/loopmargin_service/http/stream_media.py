"""Whether a caller wants a sweep as a stream of records, and how these are written."""

from enum import Enum
from functools import lru_cache

import msgspec

from loopmargin_service.http.media import Asked, Media, preferred


class StreamMedia(Enum):
    """The encodings of a stream: JSON line by line, or msgpack, each record in a `bin 32`.

    So any reader of msgpack sees a sequence of byte strings, and one without streaming can cut
    the stream by the four bytes of length that follow each first byte.
    """

    NDJSON = "application/x-ndjson"
    MSGPACK = "application/x-msgpack-stream"


BIN_32 = b"\xc6"
EVERY: tuple[Media | StreamMedia, ...] = (*Media, *StreamMedia)


def stream_media(request: Asked) -> StreamMedia | None:
    """Choose the encoding of a stream, if the Accept header prefers one to a whole answer."""
    best = _best(request.accept)
    return best if isinstance(best, StreamMedia) else None


@lru_cache(64)
def _best(accept: bytes) -> Media | StreamMedia | None:
    return preferred(accept, EVERY)


def written(record: msgspec.Struct, media: StreamMedia) -> bytes:
    """Write one record."""
    if media is StreamMedia.NDJSON:
        return msgspec.json.encode(record) + b"\n"
    packed = msgspec.msgpack.encode(record)
    return BIN_32 + len(packed).to_bytes(4, "big") + packed
