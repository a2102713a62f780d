"""A Dask scheduler and workers as processes of their own on loopback, ended by their numbers."""

import contextlib
import os
import socket
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).parents[2]
QUIET = {"DASK_DISTRIBUTED__LOGGING__DISTRIBUTED": "error"}
END_S = 20.0


def free_port() -> int:
    """Find a port that nobody listens on now."""
    with socket.socket() as found:
        found.bind(("127.0.0.1", 0))
        port: int = found.getsockname()[1]
        return port


class Cluster:
    """One scheduler on a port that stays the same, and its workers."""

    def __init__(self) -> None:
        self.port = free_port()
        self.address = f"tcp://127.0.0.1:{self.port}"
        self.scheduler: subprocess.Popen[bytes] | None = None
        self.workers: list[subprocess.Popen[bytes]] = []

    def start_scheduler(self) -> None:
        """Start the scheduler, or start it again."""
        place = ["--host", "127.0.0.1", "--port", str(self.port), "--no-dashboard"]
        self.scheduler = _run("dask_scheduler", *place)

    def start_worker(self, *options: str) -> subprocess.Popen[bytes]:
        """Start a worker of one thread that works in its own process."""
        alone = ["--nthreads", "1", "--no-nanny", "--no-dashboard", "--host", "127.0.0.1"]
        worker = _run("dask_worker", self.address, *alone, *options)
        self.workers.append(worker)
        return worker

    def kill(self) -> None:
        """End everything at once."""
        for process in (self.scheduler, *self.workers):
            if process is not None:
                process.kill()
                process.wait(END_S)
        self.scheduler, self.workers = None, []


@contextlib.contextmanager
def cluster(workers: int = 2) -> Iterator[Cluster]:
    """Run a cluster within a block."""
    made = Cluster()
    try:
        made.start_scheduler()
        for _ in range(workers):
            made.start_worker()
        yield made
    finally:
        made.kill()


def _run(module: str, *arguments: str) -> subprocess.Popen[bytes]:
    return subprocess.Popen(  # noqa: S603 - a locked package of ours
        [sys.executable, "-m", f"distributed.cli.{module}", *arguments],
        cwd=ROOT,
        env={**os.environ, **QUIET, "PYTHONPATH": str(ROOT)},
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
