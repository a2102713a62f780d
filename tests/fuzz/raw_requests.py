"""Requests as bytes, each from a seed and a number: damaged, mislabelled, lying, smuggled.

`framed` requests are whole HTTP and ask for the connection to be closed, so each of them
is owed exactly one response; to the others nothing is owed but an end.
"""

import json
from collections.abc import Callable
from pathlib import Path
from random import Random
from typing import NamedTuple

import msgspec

JSON, MSGPACK = b"application/json", b"application/vnd.msgpack"
# Questions that take a few milliseconds.
QUICK = ("radiator-area", "pump-head", "supply-headroom", "noise")
BODIES = {name: Path(f"openapi/examples/{name}.question.json").read_bytes() for name in QUICK}
NUMBERS = (
    *b"1e400 -1e400 1e308 -1e308 5e-324 2.2e-308 -0.0 1E+2 0.1e-400 NaN Infinity -Infinity".split(),
    *b"01 +1 1. .5 0x10 1_000 9007199254740993 18446744073709551616 true null".split(),
    b"9" * 400,
    b"0." + b"0" * 400 + b"1",
    b"1" + b"0" * 5000,
)
# Lengths that are promised and not kept, types beyond JSON, keys that are no text.
MSGPACK_PIECES = (
    b"\xdb\xff\xff\xff\xff",
    b"\xdd\xff\xff\xff\xff",
    b"\xdf\xff\xff\xff\xff",
    b"\xc6\xff\xff\xff\xff",
    b"\xc9\xff\xff\xff\xff\x01",
    b"\xd6\xff\x00\x00\x00\x00",
    b"\xcb\x7f\xf8\x00\x00\x00\x00\x00\x00",
    b"\xcb\x00\x00\x00\x00\x00\x00\x00\x01",
    b"\xcf\xff\xff\xff\xff\xff\xff\xff\xff",
    b"\x81\xc0\xc0",
    b"\x81\x90\x90",
    b"\xc1",
    b"\xa2\xff\xfe",
)
TYPES = (
    b"application/json; charset=utf-8",
    b"application/json; charset=utf-16",
    b"APPLICATION/JSON",
    b"application/vnd.msgpack",
    b"application/x-www-form-urlencoded",
    b"multipart/form-data; boundary=x",
    b"text/plain",
    b"application/xml",
    b"application/json, application/vnd.msgpack",
    b"",
    b";;;",
    b"\xff\xfe",
)
SMUGGLED = (
    b"transfer-encoding: chunked",
    b"transfer-encoding: identity, chunked",
    b"transfer-encoding: xchunked",
    b"transfer-encoding : chunked",
    b"content-length: 0",
    b"content-length: +5",
    b"content-length: -1",
    b"content-length: 5, 5",
    b"content-length: 99999999999999999999",
    b"content-length: 0x10",
    b"x: a\r\n folded",
    b"x: a\nhost: other",
    b"x\x00y: a",
    b"x y: a",
    b": no name",
    b"no colon",
    b"host: another.test",
    b"x: \xff\xfe\x80",
    b"connection: upgrade\r\nupgrade: websocket",
    b"expect: 100-continue",
    b"expect: something-else",
    b"content-encoding: gzip",
    b"x: " + b"a" * 9000,
)
TARGETS = (
    b"/v1/../v1/noise",
    b"/v1/%6eoise",
    b"//v1/noise",
    b"/v1/noise?x=1",
    b"/v1/noise#x",
    b"http://other.test/v1/noise",
    b"*",
    b"/v1/answers/" + b"0" * 40,
    b"/v1/answers/%ff%00%0d%0a",
    b"/" + b"a" * 9000,
    b"/\xff",
    b"",
)
METHODS = (b"GET", b"PUT", b"DELETE", b"OPTIONS", b"TRACE", b"CONNECT", b"PATCH", b"X", b"post")


class Raw(NamedTuple):
    """The bytes of one request, and whether one response is owed to them."""

    sent: bytes
    framed: bool = True


def written(
    body: bytes,
    *,
    path: bytes = b"/v1/noise",
    method: bytes = b"POST",
    media: bytes = JSON,
    fields: tuple[bytes, ...] = (),
    length: int | None = None,
) -> bytes:
    """Write a request whose connection is closed after it."""
    lines = [
        method + b" " + path + b" HTTP/1.1",
        b"host: service.test",
        b"connection: close",
        b"content-type: " + media,
        b"content-length: %d" % (len(body) if length is None else length),
        *fields,
    ]
    return b"\r\n".join([*lines, b"", body])


def request(seed: int, number: int) -> Raw:
    """Make one request; the same seed and number give the same bytes."""
    random = Random(f"{seed}/{number}")  # noqa: S311 - has to be repeatable
    name = random.choice(QUICK)
    return random.choice(KINDS)(random, BODIES[name], b"/v1/" + name.encode())


def spot(random: Random, body: bytes) -> int:
    """Choose a place in some bytes."""
    return random.randint(0, len(body))


def damaged(random: Random, body: bytes) -> bytes:
    """Cut, change, repeat or put in a few bytes, a few times."""
    for _ in range(random.randint(1, 5)):
        start = spot(random, body)
        end = min(len(body), start + random.choice((0, 1, 1, 2, 8, 200)))
        new = random.choice((b"", random.randbytes(random.randint(1, 4)), body[start:end] * 2))
        body = body[:start] + new + body[end:]
    return body


def broken_json(random: Random, body: bytes, path: bytes) -> Raw:
    """Damage the text of a question."""
    return Raw(written(damaged(random, body), path=path))


def broken_msgpack(random: Random, body: bytes, path: bytes) -> Raw:
    """Damage the msgpack form of a question."""
    packed = msgspec.msgpack.encode(json.loads(body))
    return Raw(written(damaged(random, packed), path=path, media=MSGPACK))


def odd_msgpack(random: Random, body: bytes, path: bytes) -> Raw:
    """Put in what promises more than is there, or is of a type that JSON has not."""
    packed = msgspec.msgpack.encode(json.loads(body))
    at = spot(random, packed)
    packed = packed[:at] + random.choice(MSGPACK_PIECES) + packed[at:]
    return Raw(written(packed, path=path, media=MSGPACK))


def odd_number(random: Random, body: bytes, path: bytes) -> Raw:
    """Write one number of a question in a way that is too large, too small or not a number."""
    places = [
        at for at, byte in enumerate(body) if byte in b"0123456789" and body[at - 1] in b" :["
    ]
    at = random.choice(places)
    end = next(end for end in range(at, len(body)) if body[end] not in b"0123456789.eE+-")
    return Raw(written(body[:at] + random.choice(NUMBERS) + body[end:], path=path))


def new_number(random: Random, body: bytes, path: bytes) -> Raw:
    """Ask a question that is whole and new, so that it is computed."""
    return Raw(written(body.replace(b"0", b"%d" % random.randint(0, 9), 1), path=path))


def twice(random: Random, body: bytes, path: bytes) -> Raw:
    """Give a field twice, at the top or further in."""
    opened = random.choice([at for at, byte in enumerate(body) if byte == ord("{")]) + 1
    end = body.index(b":", opened)
    return Raw(written(body[:opened] + body[opened:end] + b":1," + body[opened:], path=path))


def nested(random: Random, _body: bytes, path: bytes) -> Raw:
    """Nest to any depth, closed again or not."""
    depth = random.choice((10, 33, 1000, 60_000))
    text, media = random.choice(
        ((b"[", JSON), (b'{"a":', JSON), (b"\x91", MSGPACK), (b"\x81\xa1a", MSGPACK))
    )
    return Raw(written(text * depth + random.choice((b"", b"]" * depth)), path=path, media=media))


def not_utf8(random: Random, body: bytes, path: bytes) -> Raw:
    """Put bytes into the text that are not UTF-8, or are another encoding of it."""
    at = spot(random, body)
    bad = random.choice(
        (b"\xff", b"\xc0\x80", b"\xed\xa0\x80", b"\xf5\x80\x80\x80", b"\x00", b"\xef\xbb\xbf")
    )
    text = random.choice((body[:at] + bad + body[at:], body.decode().encode("utf-16"), bad + body))
    return Raw(written(text, path=path))


def mislabelled(random: Random, body: bytes, path: bytes) -> Raw:
    """Call the body something else."""
    accept = b"accept: " + random.choice((*TYPES, b"*/*;q=0", b"application/*;q=x", b","))
    return Raw(written(body, path=path, media=random.choice(TYPES), fields=(accept,)))


def elsewhere(random: Random, body: bytes, path: bytes) -> Raw:
    """Use another target or method."""
    target = random.choice((path, *TARGETS))
    method = random.choice((b"POST", *METHODS))
    return Raw(written(body, path=target, method=method), framed=False)


def wrong_length(random: Random, body: bytes, path: bytes) -> Raw:
    """Say another length than that of the body; what is left over looks like a request."""
    length = random.choice((0, 1, len(body) // 2, len(body) + 1, len(body) * 3))
    return Raw(written(body + written(body), path=path, length=length), framed=False)


def smuggled(random: Random, body: bytes, path: bytes) -> Raw:
    """Add lines to the header that two servers may read differently."""
    fields = tuple(random.choices(SMUGGLED, k=random.randint(1, 3)))
    return Raw(written(body, path=path, fields=fields), framed=False)


def lying_chunks(random: Random, body: bytes, path: bytes) -> Raw:
    """Send the body in chunks whose sizes are wrong now and then."""
    sizes = (b"%x" % len(body), b"1", b"0", b"-1", b"fffffffffffffffff", b"g", b"", b"5;x=y", b" 5")
    chunks = b"".join(random.choice(sizes) + b"\r\n" + body + b"\r\n" for _ in range(2))
    head = written(b"", path=path).replace(b"content-length: 0", b"transfer-encoding: chunked")
    return Raw(
        head + chunks + random.choice((b"0\r\n\r\n", b"0\r\nx: y\r\n\r\n", b"")), framed=False
    )


def cut_off(random: Random, body: bytes, path: bytes) -> Raw:
    """Stop anywhere, in the header or in the body."""
    whole = written(body, path=path)
    return Raw(whole[: random.randrange(len(whole))], framed=False)


def noise(random: Random, body: bytes, path: bytes) -> Raw:
    """Send any bytes, or a request with some of them changed anywhere."""
    if random.random() < 0.2:
        return Raw(random.randbytes(random.randint(0, 500)), framed=False)
    return Raw(damaged(random, written(body, path=path)), framed=False)


KINDS: tuple[Callable[[Random, bytes, bytes], Raw], ...] = (
    broken_json,
    broken_msgpack,
    odd_msgpack,
    odd_number,
    new_number,
    twice,
    nested,
    not_utf8,
    mislabelled,
    elsewhere,
    wrong_length,
    smuggled,
    lying_chunks,
    cut_off,
    noise,
)
