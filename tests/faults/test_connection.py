"""Connections on the wire: bounded heads, one way to read them, no patience with the slow.

What is refused follows RFC 9112: a Host that is missing or there twice (section 3.2), folded
lines (5.2), space before the colon (5.1), a length beside chunks, two lengths and codings
that are not known (6.1, 6.3), bare line feeds (2.2) and carriage returns within (2.2).
"""

import gzip
import time
import zlib
from collections.abc import Iterator
from pathlib import Path

import httpx
import pytest

from tests.faults.service_process import ServiceProcess
from tests.faults.wire import connect, head, hear, hear_one, talk, tell

QUESTION = Path("openapi/examples/pump-head.question.json").read_bytes()
PATIENCE = 1.0
LIVE = b"GET /livez HTTP/1.1\r\nhost: a\r\n\r\n"
LAST = b"GET /livez HTTP/1.1\r\nhost: a\r\nconnection: close\r\n\r\n"


ASKED = head(f"content-length: {len(QUESTION)}") + QUESTION


@pytest.fixture(scope="module")
def service() -> Iterator[ServiceProcess]:
    """Run one impatient service."""
    with ServiceProcess(
        patience_s=str(PATIENCE), body_bytes_per_s="2000", connections="20"
    ) as running:
        yield running


AMBIGUOUS = {
    "two lengths": head("content-length: 2", "content-length: 2") + b"{}",
    "two different lengths": head("content-length: 2", "content-length: 3") + b"{}",
    "lengths in a list": head("content-length: 2, 2") + b"{}",
    "a signed length": head("content-length: +2") + b"{}",
    "a length beyond all numbers": head("content-length: 99999999999999999999999") + b"{}",
    "length, then chunks": head("content-length: 2", "transfer-encoding: chunked") + b"0\r\n\r\n",
    "chunks, then length": head("transfer-encoding: chunked", "content-length: 2") + b"0\r\n\r\n",
    "chunks not last": head("transfer-encoding: chunked, gzip") + b"0\r\n\r\n",
    "a second coding": head("transfer-encoding: gzip, chunked") + b"0\r\n\r\n",
    "an unknown coding": head("transfer-encoding: xchunked") + b"0\r\n\r\n",
    "chunks in 1.0": head("transfer-encoding: chunked", line="POST /v1/pump-head HTTP/1.0"),
    "a folded line": head("x: a\r\n b", "content-length: 0"),
    "space before the colon": head("content-length : 2") + b"{}",
    "bare line feeds": head("content-length: 0").replace(b"\r\n", b"\n"),
    "one bare line feed": head("x: a\ny: b", "content-length: 0"),
    "a bare carriage return": head("x: a\rb", "content-length: 0"),
    "a null": head("x: a\0b", "content-length: 0"),
    "a chunk that ends in a line feed": head("transfer-encoding: chunked") + b"2\n{}\n0\n\n",
    "a length in the trailer": head("transfer-encoding: chunked")
    + b"2\r\n{}\r\n0\r\ncontent-length: 9\r\n\r\n",
    "no host": head("content-length: 0", host=""),
    "two hosts": head("host: b", "content-length: 0"),
    "another protocol": head("connection: upgrade", "upgrade: h2c", "content-length: 2") + b"{}",
    "a tunnel": b"CONNECT a:1 HTTP/1.1\r\nhost: a\r\n\r\n",
    "HTTP/2 from the start": b"PRI * HTTP/2.0\r\n\r\nSM\r\n\r\n",
    "a later version": head("content-length: 0", line="POST /v1/pump-head HTTP/3.0"),
    "no HTTP": b"NONSENSE\r\n\r\n",
    "TLS": b"\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03" + b"\0" * 64,
}


@pytest.mark.parametrize("request_bytes", AMBIGUOUS.values(), ids=AMBIGUOUS.keys())
def test_what_could_be_read_in_two_ways_is_refused(
    service: ServiceProcess, request_bytes: bytes
) -> None:
    """With 400, in words, and what follows on the connection is not looked at."""
    heard = talk(service, request_bytes + LIVE)

    assert (heard.statuses, heard.problem) == ([400], "request")
    assert b"request-id: " in heard.said


def test_fields_behind_the_body_change_nothing(service: ServiceProcess) -> None:
    """A trailer can neither name a media type nor end a connection."""
    request = (
        b"POST /v1/pump-head HTTP/1.1\r\nhost: a\r\ntransfer-encoding: chunked\r\n\r\n"
        b"2\r\n{}\r\n0\r\ncontent-type: application/json\r\n\r\n"
    )

    assert talk(service, request + LAST).statuses == [415, 200]


LONG = {
    "path": (b"GET /" + b"a" * 3000 + b" HTTP/1.1\r\nhost: a\r\n\r\n", 414, "target-too-long"),
    "fields": (head(*["x: y"] * 100), 431, "head-too-long"),
    "field": (head("x: " + "y" * 9000), 431, "head-too-long"),
    "together": (head(*["x: " + "y" * 5000] * 4), 431, "head-too-long"),
}


@pytest.mark.parametrize(("request_bytes", "status", "problem"), LONG.values(), ids=LONG.keys())
def test_too_long_a_head_is_refused(
    service: ServiceProcess, request_bytes: bytes, status: int, problem: str
) -> None:
    """Each with the status that is made for it."""
    heard = talk(service, request_bytes)

    assert (heard.statuses, heard.problem) == ([status], problem)


@pytest.mark.parametrize(
    "begun",
    [
        head("x: ").removesuffix(b"\r\n\r\n"),
        b"GET /",
        head("transfer-encoding: chunked") + b"1;",
        head("transfer-encoding: chunked") + b"1\r\n{\r\n0\r\nx: ",
    ],
    ids=["a field", "a path", "a chunk", "a trailer"],
)
def test_what_never_ends_is_cut_off(service: ServiceProcess, begun: bytes) -> None:
    """It is not kept in memory until it ends."""
    heard = talk(service, begun, *[b"a" * 4096] * 200)

    assert heard.statuses in ([431], [414])


def test_a_head_within_every_limit_is_answered(service: ServiceProcess) -> None:
    """Twenty fields of 500 bytes are nothing unusual."""
    fields = [f"x-{number}: {'y' * 500}" for number in range(20)]

    assert talk(service, LAST[:-2] + "\r\n".join([*fields, "", ""]).encode()).statuses == [200]


SLOW = {
    "nothing at all": (b"", []),
    "half a line": (b"GET /li", [408]),
    "half a head": (b"GET /livez HTTP/1.1\r\nhost: a\r\n", [408]),
    "half a second head": (LIVE + b"GET /livez HTTP/1.1\r\n", [200, 408]),
    "no body": (head("content-length: 100"), [408]),
    "half a body": (head("content-length: 100") + b"{", [408]),
    "half a chunk": (head("transfer-encoding: chunked") + b"5\r\n{", [408]),
    "the rest of what was refused": (head("content-length: 9999999") + b"{", [413]),
}


@pytest.mark.parametrize(("request_bytes", "statuses"), SLOW.values(), ids=SLOW.keys())
def test_who_is_too_slow_is_told_so_and_cut_off(
    service: ServiceProcess, request_bytes: bytes, statuses: list[int]
) -> None:
    """After the patience that is set and not before."""
    begun = time.monotonic()
    heard = talk(service, request_bytes)

    assert heard.statuses == statuses
    assert time.monotonic() - begun > PATIENCE / 2


@pytest.mark.parametrize("before", [LIVE, ASKED], ids=["a page", "a question"])
def test_empty_lines_do_not_hold_a_connection(service: ServiceProcess, before: bytes) -> None:
    """A parser passes them over before a request; they are no request."""
    with connect(service) as connection:
        for _ in range(2):
            tell(connection, before)
            assert hear_one(connection).startswith(b"HTTP/1.1 200")
        tell(connection, b"\r\n")

        assert hear(connection).said == b""


def test_a_body_that_trickles_is_cut_off(service: ServiceProcess) -> None:
    """A byte now and then is below the rate, however long it goes on."""
    with connect(service) as connection:
        tell(connection, head("content-length: 100000"))
        connection.settimeout(0.1)
        heard = b""
        while not heard:
            tell(connection, b" ")
            try:
                heard = connection.recv(65536)
            except TimeoutError:
                continue

    assert heard.startswith(b"HTTP/1.1 408 ")


def test_a_body_that_keeps_its_rate_is_awaited(service: ServiceProcess) -> None:
    """Longer than the patience, because it keeps coming."""
    padded = QUESTION + b" " * 20_000
    with connect(service) as connection:
        tell(connection, head(f"content-length: {len(padded)}", "connection: close"))
        begun = time.monotonic()
        for start in range(0, len(padded), 1500):
            tell(connection, padded[start : start + 1500])
            time.sleep(0.1)
        heard = hear(connection)

    assert time.monotonic() - begun > PATIENCE
    assert heard.statuses == [200]


def test_a_refusal_does_not_overtake_an_answer(service: ServiceProcess) -> None:
    """Who sends one good and one bad request gets both told, in this order."""
    heard = talk(service, LIVE + b"NONSENSE\r\n\r\n")

    assert heard.statuses == [200, 400]


@pytest.mark.parametrize("before", [LIVE, ASKED], ids=["a page", "a question"])
def test_an_idle_connection_outlives_the_patience(service: ServiceProcess, before: bytes) -> None:
    """Between requests a caller may rest; the second question has a stored answer."""
    with connect(service) as connection:
        for _ in range(2):
            tell(connection, before)
            assert hear_one(connection).startswith(b"HTTP/1.1 200")
        time.sleep(2 * PATIENCE)
        tell(connection, LAST)

        assert hear(connection).statuses == [200]


def test_too_many_connections_are_turned_away(service: ServiceProcess) -> None:
    """In words, and the others are served as before."""
    held = [connect(service) for _ in range(30)]
    try:
        for connection in held:
            tell(connection, LAST)
        statuses = [status for connection in held for status in hear(connection).statuses]
    finally:
        for connection in held:
            connection.close()

    assert set(statuses) <= {200, 503}
    assert statuses.count(200) >= 20 - 2
    assert httpx.get(service.url + "/livez").status_code == 200


BOMBS = {
    "gzip": gzip.compress(b" " * 10_000_000),
    "deflate": zlib.compress(b" " * 10_000_000),
    "br": b"\x5b\xff\xff\x3f\x00\x24\x0e\x10\xe2\x06\x01",
    "zstd": b"\x28\xb5\x2f\xfd\x04\x58\x45\x00\x00\x10\x20\x20\x01\x00\xfb\xff",
    "gzip, gzip": gzip.compress(gzip.compress(b" " * 1_000_000)),
    "identity, gzip": gzip.compress(b" " * 1_000_000),
}


@pytest.mark.parametrize(("coding", "body"), BOMBS.items(), ids=BOMBS.keys())
def test_nothing_is_ever_unpacked(service: ServiceProcess, coding: str, body: bytes) -> None:
    """Every coding is refused with advice, so no small body becomes a large one."""
    headers = {"content-type": "application/json", "content-encoding": coding}
    response = httpx.post(f"{service.url}/v1/pump-head", content=body, headers=headers)

    assert (response.status_code, response.json()["type"]) == (415, "/problems/media-type")
    assert response.headers["accept-encoding"] == "identity"
