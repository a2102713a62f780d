"""The service as its own process on a free loopback port, stopped by its number."""

import os
import signal
import subprocess
import sys
from pathlib import Path
from types import TracebackType
from typing import Self

WAIT_S = 20.0


class ServiceProcess:
    """Runs `python -m loopmargin_service.http` within a block, on a free port if none is given.

    Its log is a pipe, which who loads it has to read; with `log_to` it is a file.
    """

    def __init__(
        self,
        port: int = 0,
        module: str = "loopmargin_service.http",
        log_to: Path | None = None,
        **settings: str,
    ) -> None:
        self._log_to = log_to
        self._port = str(port)
        self._module = module
        named = {f"LOOPMARGIN_{name.upper()}": value for name, value in settings.items()}
        clean = {name: value for name, value in os.environ.items() if "LOOPMARGIN" not in name}
        self._environment = {**clean, **named}
        self.url = ""

    def __enter__(self) -> Self:
        """Start it and wait until it says where it listens."""
        self.process = subprocess.Popen(  # noqa: S603 - ourselves
            [sys.executable, "-m", self._module, "--port", self._port],
            env=self._environment,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE if self._log_to is None else self._log_to.open("ab"),
            text=True,
        )
        assert self.process.stdout is not None
        self.url = self.process.stdout.readline().strip()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """Stop it, kindly at first."""
        if self.process.poll() is None:
            self.stop()
        for stream in (self.process.stdout, self.process.stderr):
            if stream is not None:
                stream.close()

    def terminate(self) -> None:
        """Ask it to stop."""
        self.process.send_signal(signal.SIGTERM)

    def stop(self) -> int:
        """Ask it to stop and wait; it is killed when it does not."""
        self.terminate()
        try:
            return self.process.wait(WAIT_S)
        except subprocess.TimeoutExpired:
            self.process.kill()
            self.process.wait()
            raise
