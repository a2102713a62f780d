"""A sweep asked for as a stream over a real connection, read record by record."""

import contextlib
import http.client
from collections.abc import Iterator
from typing import Any
from urllib.parse import urlsplit

import msgspec

from loopmargin_wire.sweep import MOST_CASES, PackedSweepRecord, SweepQuestion, SweepRecord
from tests.unit.questions.swept import FANS, asked

NDJSON = "application/x-ndjson"
MSGPACK = "application/x-msgpack-stream"
PATIENCE_S = 120.0


def question(fans: int, pumps: int, **fields: int) -> SweepQuestion:
    """Ask for a grid of so many fan and pump speeds."""
    values = [[0.5 + 0.7 * step / count for step in range(count)] for count in (fans, pumps)]
    axes = [
        {**FANS, "values": values[0]},
        {"kind": "factor", "of": "pump_speeds", "values": values[1]},
    ]
    return asked(*axes, case_limit=MOST_CASES, **fields)


@contextlib.contextmanager
def records(url: str, asked_for: SweepQuestion, accept: str = NDJSON) -> Iterator[Iterator[Any]]:
    """Ask within a block; leaving it hangs up."""
    where = urlsplit(url)
    assert where.hostname is not None
    connection = http.client.HTTPConnection(where.hostname, where.port, timeout=PATIENCE_S)
    headers = {"content-type": "application/json", "accept": accept}
    try:
        connection.request("POST", "/v1/sweep", msgspec.json.encode(asked_for), headers)
        response = connection.getresponse()
        assert response.status == 200, response.read()
        assert response.headers["content-type"] == accept
        yield _read(response, accept)
    finally:
        connection.close()


def _read(response: http.client.HTTPResponse, accept: str) -> Iterator[Any]:
    if accept == NDJSON:
        for line in response:
            yield msgspec.json.decode(line, type=SweepRecord)
        return
    while start := response.read(5):
        assert start[:1] == b"\xc6"
        packed = response.read(int.from_bytes(start[1:], "big"))
        yield msgspec.msgpack.decode(packed, type=PackedSweepRecord)
