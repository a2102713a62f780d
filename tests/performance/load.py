"""Ask the same question over a few connections for a while, and count the answers.

`wrk` is used where it is installed, because it leaves the server no excuse; otherwise
an event loop that does no more than find the end of an answer.
"""

import asyncio
import json
import os
import re
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import cast
from urllib.parse import urlsplit

import uvloop

CONNECTIONS = 16
HEADERS = {"content-type": "application/json"}


def requests_per_second(url: str, body: Path, seconds: float, core: int, **headers: str) -> float:
    """Load a URL from another process on a core of its own; give answers a second."""
    sent = {**HEADERS, **headers}
    before = os.sched_getaffinity(0)
    os.sched_setaffinity(0, {core})
    try:
        return (
            _by_wrk(url, body, seconds, sent)
            if shutil.which("wrk")
            else _by_sockets(url, body, seconds, sent)
        )
    finally:
        os.sched_setaffinity(0, before)


def _by_wrk(url: str, body: Path, seconds: float, headers: dict[str, str]) -> float:
    script = (
        f'wrk.method = "POST"\nlocal f = io.open("{body.resolve()}", "rb")\n'
        'wrk.body = f:read("*a")\nf:close()\n'
    )
    script += "".join(f'wrk.headers["{name}"] = "{value}"\n' for name, value in headers.items())
    with tempfile.NamedTemporaryFile("w", suffix=".lua") as lua:
        lua.write(script)
        lua.flush()
        command = ["wrk", "-t1", f"-c{CONNECTIONS}", f"-d{seconds:.0f}s", "-s", lua.name, url]
        said = subprocess.run(command, capture_output=True, text=True, check=True).stdout  # noqa: S603 - fixed options
    assert "Non-2xx" not in said, said
    found = re.search(r"Requests/sec:\s+([\d.]+)", said)
    assert found, said
    return float(found[1])


def _by_sockets(url: str, body: Path, seconds: float, headers: dict[str, str]) -> float:
    command = [sys.executable, "-m", "tests.performance.load", url, str(body), str(seconds)]
    command.append(json.dumps(headers))
    said = subprocess.run(command, capture_output=True, text=True, check=True).stdout  # noqa: S603 - ourselves
    return float(said)


class _Caller(asyncio.Protocol):
    """A connection that asks again as soon as it has an answer."""

    def __init__(self, request: bytes) -> None:
        self.answers = 0
        self.heard = asyncio.get_running_loop().create_future()
        self._request = request
        self._got = b""
        self._missing = 0

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        # That of uvloop is one without being derived from it.
        self.transport = cast("asyncio.Transport", transport)
        self.transport.write(self._request)

    def data_received(self, data: bytes) -> None:
        if self._missing:
            self._missing -= len(data)
        else:
            self._got += data
            self._begin()
        if self._missing == 0 and not self._got:
            self.answers += 1
            self.transport.write(self._request)

    def _begin(self) -> None:
        """Read how long an answer is, once its head is there."""
        end = self._got.find(b"\r\n\r\n")
        if end < 0:
            return
        head = self._got[:end].lower()
        assert head.startswith(b"http/1.1 200"), head
        at = head.index(b"content-length: ") + 16
        length = int(head[at : at + 9].split(b"\r", 1)[0])
        self._missing = end + 4 + length - len(self._got)
        self._got = b""

    def connection_lost(self, error: Exception | None) -> None:
        if not self.heard.done():
            self.heard.set_exception(error or ConnectionError("hung up on"))


async def _load(url: str, body: bytes, seconds: float, headers: dict[str, str]) -> float:
    """Keep the connections busy and count."""
    parts = urlsplit(url)
    assert parts.hostname
    assert parts.port
    lines = [f"POST {parts.path} HTTP/1.1", f"host: {parts.netloc}"]
    lines += [f"{name}: {value}" for name, value in headers.items()]
    request = "\r\n".join([*lines, f"content-length: {len(body)}", "", ""]).encode() + body
    loop = asyncio.get_running_loop()
    start = time.perf_counter()
    made = [
        await loop.create_connection(lambda: _Caller(request), parts.hostname, parts.port)
        for _ in range(CONNECTIONS)
    ]
    callers = [caller for _, caller in made]
    _stay_awake(loop)
    # Nobody is heard but of who is hung up on.
    done, _ = await asyncio.wait([one.heard for one in callers], timeout=seconds)
    rate = sum(one.answers for one in callers) / (time.perf_counter() - start)
    for one in done:
        one.result()
    for one in callers:
        one.heard.cancel()
        one.transport.close()
    return rate


def _stay_awake(loop: asyncio.AbstractEventLoop) -> None:
    """Never wait for an answer asleep: to wake this process would cost the server that answers."""
    loop.call_soon(_stay_awake, loop)


if __name__ == "__main__":
    where, what, how_long, sent = sys.argv[1:]
    asked = Path(what).read_bytes()
    uvloop.install()
    sys.stdout.write(f"{asyncio.run(_load(where, asked, float(how_long), json.loads(sent)))}\n")
