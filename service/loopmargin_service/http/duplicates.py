"""Field names given twice in one object: every decoder keeps the last one in silence.

JSON is read a second time with a hook on each object. msgpack is encoded again: equal
bytes prove that nothing was dropped; only otherwise are the keys of each map read.
"""

import json
import struct
from collections import Counter
from collections.abc import Iterator

import msgspec

LONGEST_WHOLE_NUMBER = 300
Path = tuple[str | int, ...]


class Doubled(dict[str, object]):
    """An object of the body in which one key stood twice."""

    key: str


def tree(text: str) -> object:
    """Parse JSON without a type, keeping note of keys given twice."""
    return json.loads(
        text, object_pairs_hook=_object, parse_int=_whole, parse_constant=_refuse_constant
    )


def in_json(text: str) -> Path | None:
    """Find the first key given twice in a JSON text that is known to parse."""
    return in_tree(tree(text))


def in_tree(parsed: object) -> Path | None:
    """Find the first object of a parsed tree that had a key twice, and that key."""
    return next(_doubled(parsed, ()), None)


def in_msgpack(body: bytes) -> Path | None:
    """Find the first key given twice in a msgpack body that is known to parse."""
    if msgspec.msgpack.encode(msgspec.msgpack.decode(body)) == body:
        return None
    return _Keys(body).first_double()


def _object(pairs: list[tuple[str, object]]) -> dict[str, object]:
    found = dict(pairs)
    if len(found) == len(pairs):
        return found
    doubled = Doubled(found)
    times = Counter(name for name, _ in pairs)
    doubled.key = next(name for name in times if times[name] > 1)
    return doubled


def _whole(digits: str) -> int | float:
    """Read a whole number; one beyond every float becomes infinite before it costs time."""
    return int(digits) if len(digits) < LONGEST_WHOLE_NUMBER else float(digits)


def _refuse_constant(word: str) -> object:
    raise ValueError(f"{word} is not JSON")


def _doubled(value: object, path: Path) -> Iterator[Path]:
    if isinstance(value, Doubled):
        yield (*path, value.key)
    if isinstance(value, dict):
        for name, member in value.items():
            yield from _doubled(member, (*path, name))
    elif isinstance(value, list):
        for place, member in enumerate(value):
            yield from _doubled(member, (*path, place))


# The msgpack specification's table of formats: first byte -> bytes of length, bytes of data.
_FIXED = {
    **dict.fromkeys((*range(0x80), *range(0xE0, 0x100), 0xC0, 0xC2, 0xC3), 0),
    **dict(zip(range(0xCA, 0xD4), (4, 8, 1, 2, 4, 8, 1, 2, 4, 8), strict=True)),
    **dict(zip(range(0xD4, 0xD9), (2, 3, 5, 9, 17), strict=True)),
    **{0xA0 + length: length for length in range(32)},
}
_SIZED = {0xC4: 1, 0xC5: 2, 0xC6: 4, 0xD9: 1, 0xDA: 2, 0xDB: 4}
_EXTENDED = {0xC7: 1, 0xC8: 2, 0xC9: 4}
_ARRAYS = {0xDC: 2, 0xDD: 4}
_MAPS = {0xDE: 2, 0xDF: 4}
_UNSIGNED = {1: ">B", 2: ">H", 4: ">I"}


class _Keys:
    """A reader that skips through a msgpack body and compares the keys of each map."""

    def __init__(self, body: bytes) -> None:
        self.body = body
        self.at = 0

    def first_double(self) -> Path | None:
        return next(self._item(()), None)

    def _item(self, path: Path) -> Iterator[Path]:
        lead = self.body[self.at]
        self.at += 1
        if lead in _FIXED:
            self.at += _FIXED[lead]
        elif lead in _SIZED:
            self._skip(_SIZED[lead], 0)
        elif lead in _EXTENDED:
            self._skip(_EXTENDED[lead], 1)
        elif lead in _ARRAYS or 0x90 <= lead <= 0x9F:  # noqa: PLR2004 - short arrays
            yield from self._array(self._count(lead, _ARRAYS), path)
        else:
            yield from self._map(self._count(lead, _MAPS), path)

    def _skip(self, size: int, more: int) -> None:
        """Step over data behind its length; an extension has its type between them."""
        length = self._unsigned(size)
        self.at += length + more

    def _array(self, entries: int, path: Path) -> Iterator[Path]:
        for place in range(entries):
            yield from self._item((*path, place))

    def _map(self, entries: int, path: Path) -> Iterator[Path]:
        seen: set[str] = set()
        for _ in range(entries):
            start = self.at
            yield from self._item(path)
            key = str(msgspec.msgpack.decode(self.body[start : self.at]))
            if key in seen:
                yield (*path, key)
            seen.add(key)
            yield from self._item((*path, key))

    def _count(self, lead: int, sizes: dict[int, int]) -> int:
        return self._unsigned(sizes[lead]) if lead in sizes else lead & 0x0F

    def _unsigned(self, size: int) -> int:
        (value,) = struct.unpack_from(_UNSIGNED[size], self.body, self.at)
        self.at += size
        return int(value)
