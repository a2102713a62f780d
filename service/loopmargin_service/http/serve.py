"""One worker process: the application behind uvicorn, from first import to last answer.

After start-up everything that lives for good is moved out of the collector's sight,
which takes its pauses out of the slowest answers. The idle keep-alive time is longer than
any balancer's and client's, so that it is never the service that closes a connection
under a request on its way.
"""

import argparse
import asyncio
import gc
import os
import socket
import sys
from collections.abc import Sequence
from types import FrameType

import uvicorn

from loopmargin_service.http.app import create_app
from loopmargin_service.http.health import Readiness
from loopmargin_service.http.metrics_port import PortTakenError, metrics_served
from loopmargin_service.http.settings import Settings, SettingsError, read

KEEP_ALIVE_S = 65
GRACE_S = 30


class Worker(uvicorn.Server):
    """A server that tells its address, freezes its start-up memory and drains before closing."""

    def __init__(
        self, config: uvicorn.Config, readiness: Readiness, drain_s: float, metrics: str = ""
    ) -> None:
        super().__init__(config)
        self._readiness = readiness
        self._drain_s = drain_s
        self._metrics = metrics

    async def startup(self, sockets: list[socket.socket] | None = None) -> None:
        """Start listening, then say where."""
        await super().startup(sockets)
        gc.collect()
        gc.freeze()
        for bound in sockets or ():
            host, port = bound.getsockname()[:2]
            shown = f"[{host}]" if bound.family == socket.AF_INET6 else host
            sys.stdout.write(f"http://{shown}:{port}\n")
        if self._metrics:
            sys.stdout.write(f"metrics on {self._metrics}\n")
        sys.stdout.flush()

    def handle_exit(self, sig: int, frame: FrameType | None) -> None:  # noqa: ARG002 - uvicorn's
        """Stop wanting traffic at once and stop listening later, and end with status 0.

        A second signal does not wait for the drain; a third does not wait for answers.
        """
        if self._readiness.draining or self._drain_s == 0:
            self.force_exit = self.should_exit
            self.should_exit = True
        else:
            asyncio.get_running_loop().call_later(self._drain_s, self._stop)
        self._readiness.draining = True

    def _stop(self) -> None:
        self.should_exit = True


def main(arguments: Sequence[str] | None = None) -> int:
    """Read the settings and serve until told to stop."""
    try:
        settings = _settings(arguments)
    except SettingsError as error:
        sys.stderr.write(f"{error}\n")
        return 2
    app = create_app(settings)
    config = uvicorn.Config(
        app,
        host=settings.host,
        port=settings.port,
        loop="uvloop",
        http="httptools",
        lifespan="on",
        log_level="warning",
        access_log=False,
        server_header=False,
        timeout_keep_alive=KEEP_ALIVE_S,
        timeout_graceful_shutdown=GRACE_S,
    )
    bound = config.bind_socket()
    try:
        with metrics_served(settings, app.state.meters.registry) as metrics:
            Worker(config, app.state.readiness, settings.drain_s, metrics).run(sockets=[bound])
    except PortTakenError as error:
        sys.stderr.write(f"{error}\n")
        return 1
    return 0


def _settings(arguments: Sequence[str] | None) -> Settings:
    """Take the environment, and host and port from the command line where given."""
    parser = argparse.ArgumentParser(prog="loopmargin", description=main.__doc__)
    parser.add_argument("--host", help="address to listen on")
    parser.add_argument("--port", help="port to listen on; 0 takes a free one and prints it")
    given = {name: value for name, value in vars(parser.parse_args(arguments)).items() if value}
    named = {f"LOOPMARGIN_{name.upper()}": value for name, value in given.items()}
    return read({**os.environ, **named})
