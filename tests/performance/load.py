"""Ask the same question over a few connections for a while, and count the answers.

`wrk` is used where it is installed, because it leaves the server no excuse; otherwise
plain sockets on an event loop, which may themselves be what is slow.
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
from urllib.parse import urlsplit

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


async def _connection(host: str, port: int, request: bytes, until: float) -> int:
    reader, writer = await asyncio.open_connection(host, port)
    count = 0
    while time.perf_counter() < until:
        writer.write(request)
        head = await reader.readuntil(b"\r\n\r\n")
        assert head.startswith(b"HTTP/1.1 200"), head
        length = re.search(rb"content-length: (\d+)", head)
        assert length
        await reader.readexactly(int(length[1]))
        count += 1
    writer.close()
    return count


async def _load(url: str, body: bytes, seconds: float, headers: dict[str, str]) -> float:
    """Keep the connections busy and count."""
    parts = urlsplit(url)
    assert parts.hostname
    assert parts.port
    lines = [f"POST {parts.path} HTTP/1.1", f"host: {parts.netloc}"]
    lines += [f"{name}: {value}" for name, value in headers.items()]
    request = "\r\n".join([*lines, f"content-length: {len(body)}", "", ""]).encode() + body
    start = time.perf_counter()
    counts = await asyncio.gather(
        *(
            _connection(parts.hostname, parts.port, request, start + seconds)
            for _ in range(CONNECTIONS)
        )
    )
    return sum(counts) / (time.perf_counter() - start)


if __name__ == "__main__":
    where, what, how_long, sent = sys.argv[1:]
    asked = Path(what).read_bytes()
    sys.stdout.write(f"{asyncio.run(_load(where, asked, float(how_long), json.loads(sent)))}\n")
