"""Raw bytes over a real socket: no fault of the service, no hang, no growth, every time."""

import asyncio
import re
import sys
from collections import Counter
from itertools import count
from typing import NamedTuple

import httpx
import pytest

from tests.faults.service_process import ServiceProcess
from tests.fuzz.amount import FIRST_SEED, REQUESTS, Progress
from tests.fuzz.raw_requests import Raw, request
from tests.fuzz.resources import resident_bytes

CONNECTIONS = 8
# Far longer than any of these questions takes; whoever is not done then hangs.
DEADLINE_S = 60.0
STATUS = re.compile(rb"^HTTP/1\.1 (\d{3}) ", re.MULTILINE)
# What the document says, and OPTIONS; 400 may also come from the server, before us.
DOCUMENTED = {100, 200, 204, 304, 400, 404, 405, 406, 408, 413, 414, 415, 422, 431}
# Memory fills up over the first 30 000 requests, and then stays within a hundredth for 70 000 more.
WARM_UP = 30_000
# Little, so that it is full soon and memory stays where it is then.
STORE = {"store_bytes": str(2**20)}


class Heard(NamedTuple):
    """What came back, and whether the connection ended by itself."""

    statuses: list[int]
    ended: bool


async def talk(address: httpx.URL, raw: Raw) -> Heard:
    """Send one request and listen until the service hangs up."""
    reader, writer = await asyncio.open_connection(address.host, address.port)
    heard = b""
    try:
        async with asyncio.timeout(DEADLINE_S):
            writer.write(raw.sent)
            if not raw.framed:
                writer.write_eof()
            while chunk := await reader.read(65536):
                heard += chunk
        ended = True
    except TimeoutError:
        ended = False
    except OSError:
        # The service has hung up before it was told everything; that is its right.
        ended = True
    finally:
        writer.transport.abort()
    return Heard([int(status) for status in STATUS.findall(heard)], ended)


def complaint(raw: Raw, heard: Heard) -> str:
    """Say what is wrong with what came back; nothing when all is well."""
    final = [status for status in heard.statuses if status >= 200]
    if not heard.ended:
        return "hangs"
    if set(heard.statuses) - DOCUMENTED:
        return "is answered with a status that is not documented"
    if raw.framed and len(final) != 1:
        return "is not answered once"
    return ""


async def fuzz(url: str, seed: int, requests: int, first: int = 0) -> Counter[int]:
    """Send very many, a few at a time; stop at the first that is not answered as it should be."""
    numbers, statuses, progress = count(first), Counter[int](), Progress()

    async def connection() -> None:
        while (number := next(numbers)) < first + requests:
            raw = request(seed, number)
            heard = await talk(httpx.URL(url), raw)
            wrong = complaint(raw, heard)
            shown = f"{heard.statuses} {raw.sent[:3000]!r}"
            assert not wrong, f"request({seed}, {number}) {wrong}: {shown}"
            statuses.update(heard.statuses or [0])
            progress.count("raw requests")

    await asyncio.gather(*(connection() for _ in range(CONNECTIONS)))
    return statuses


def judged(requests: int, growth: float, capsys: pytest.CaptureFixture[str]) -> None:
    """Warm up with a third, then hold memory after the rest against memory before it."""
    with ServiceProcess(**STORE) as service:
        pid, third = service.process.pid, requests // 3
        first = asyncio.run(fuzz(service.url, FIRST_SEED, third))
        before = resident_bytes(pid)
        statuses = first + asyncio.run(fuzz(service.url, FIRST_SEED, requests - third, third))
        after = resident_bytes(pid)
        assert httpx.get(service.url + "/livez").status_code == 200
        assert service.process.poll() is None
    said = f"seed {FIRST_SEED}, {requests} raw requests, by status {dict(sorted(statuses.items()))}"
    with capsys.disabled():
        sys.stdout.write(f"\n{said}; {before / 2**20:.1f} MB, then {after / 2**20:.1f} MB\n")
    assert after < before * (1.0 + growth)
    assert statuses[200] > 0.02 * requests


def test_raw_bytes_are_answered_or_refused(capsys: pytest.CaptureFixture[str]) -> None:
    """A few hundred of each kind; memory may still be filling up."""
    judged(1500, 0.25, capsys)


@pytest.mark.long
def test_very_many_raw_bytes(capsys: pytest.CaptureFixture[str]) -> None:
    """As many as are asked for, or as it takes to see that memory stays where it is."""
    judged(max(REQUESTS, 3 * WARM_UP), 0.05, capsys)
