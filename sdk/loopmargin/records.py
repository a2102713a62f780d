"""Records of a sweep's stream: cut out of the bytes as they come in, and decoded."""

from typing import Any

import msgspec

from loopmargin.body import MEDIA_TYPES, decoded
from loopmargin.options import Encoding
from loopmargin_wire.sweep import (
    PackedBlock,
    PackedSweepRecord,
    SweepBlock,
    SweepEnd,
    SweepHead,
    SweepRecord,
)

STREAM_TYPES: dict[Encoding, str] = {
    "json": "application/x-ndjson",
    "msgpack": "application/x-msgpack-stream",
}
KINDS: dict[Encoding, Any] = {"json": SweepRecord, "msgpack": PackedSweepRecord}
# A block of a thousand cases in fifteen hundred columns is 30 MB of JSON.
LONGEST_RECORD_BYTES = 64 * 2**20
BIN_32 = 0xC6
BIN_32_BYTES = 5

Block = SweepBlock | PackedBlock
StreamRecord = SweepHead | Block | SweepEnd


class Records:
    """Cuts records out of pieces of a stream, wherever these end, and holds one piece too much.

    A line is a record in JSON; in msgpack each stands in a `bin 32`, behind five bytes. What is
    no such record, or a longer one than there can be, raises `msgspec.DecodeError`.
    """

    def __init__(self, encoding: Encoding) -> None:
        self._encoding = encoding
        self._kept = bytearray()
        self._searched = 0

    def add(self, piece: bytes) -> None:
        """Take what has come in."""
        self._kept += piece

    def next(self) -> Any:  # noqa: ANN401 - one of a union that depends on the encoding
        """Decode the next record; None while it is not whole."""
        cut = self._line() if self._encoding == "json" else self._bin()
        if cut is None:
            return None
        return decoded(cut, MEDIA_TYPES[self._encoding], KINDS[self._encoding])

    def _line(self) -> bytes | None:
        end = self._kept.find(b"\n", self._searched)
        require_bounded(len(self._kept) if end < 0 else end)
        self._searched = len(self._kept) if end < 0 else 0
        return None if end < 0 else self._taken(0, end + 1)

    def _bin(self) -> bytes | None:
        if self._kept and self._kept[0] != BIN_32:
            raise msgspec.DecodeError(f"A record begins with byte {self._kept[0]:#04x}")
        if len(self._kept) < BIN_32_BYTES:
            return None
        length = int.from_bytes(self._kept[1:BIN_32_BYTES], "big")
        require_bounded(length)
        end = BIN_32_BYTES + length
        return None if len(self._kept) < end else self._taken(BIN_32_BYTES, end)

    def _taken(self, start: int, end: int) -> bytes:
        record = bytes(self._kept[start:end])
        del self._kept[:end]
        return record


def require_bounded(length: int) -> None:
    """Refuse to keep more than the longest record."""
    if length > LONGEST_RECORD_BYTES:
        raise msgspec.DecodeError(f"A record is longer than {LONGEST_RECORD_BYTES} bytes")
