"""One worker process: the application behind uvicorn, from first import to last answer.

After start-up everything that lives for good is moved out of the collector's sight,
which takes its pauses out of the slowest answers. The idle keep-alive time is longer than
any balancer's and client's, so that it is never the service that closes a connection
under a request on its way.
"""

import argparse
import asyncio
import gc
import logging
import math
import os
import signal
import socket
import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from importlib.metadata import version
from types import FrameType

import uvicorn
from litestar import Litestar

from loopmargin_service.http.app import Wrap, create_app
from loopmargin_service.http.connection import Bounds, Connection
from loopmargin_service.http.health import Readiness
from loopmargin_service.http.keys import Keyring
from loopmargin_service.http.log import event, logging_to
from loopmargin_service.http.metrics_port import metrics_served
from loopmargin_service.http.prompt import PromptConnection
from loopmargin_service.http.settings import CannotServeError, Settings, SettingsError, read
from loopmargin_service.questions.edition import EDITION

KEEP_ALIVE_S = 65
# Beyond the deadline of the last answer, for it to be sent.
SENDING_S = 5


class Worker(uvicorn.Server):
    """A server that tells its address, freezes its start-up memory and drains before closing."""

    def __init__(
        self,
        config: uvicorn.Config,
        readiness: Readiness,
        keyring: Keyring | None,
        settings: Settings,
        metrics: str = "",
    ) -> None:
        super().__init__(config)
        self._readiness = readiness
        self._keyring = keyring
        self._settings = settings
        self._drain_s = settings.drain_s
        self._metrics = metrics

    async def startup(self, sockets: list[socket.socket] | None = None) -> None:
        """Start listening, then say where."""
        await super().startup(sockets)
        asyncio.get_running_loop().add_signal_handler(signal.SIGHUP, self._read_again)
        gc.collect()
        gc.freeze()
        addresses = [_address(bound) for bound in sockets or ()]
        event(
            logging.INFO,
            "start",
            addresses=addresses,
            metrics=self._metrics,
            version=version("loopmargin"),
            edition=EDITION,
            process=os.getpid(),
            settings=self._settings.shown(),
        )
        sys.stdout.writelines(f"{address}\n" for address in addresses)
        if self._metrics:
            sys.stdout.write(f"metrics on {self._metrics}\n")
        sys.stdout.flush()

    def _read_again(self) -> None:
        """Read the file of keys now; without one there is nothing to read again."""
        if self._keyring is not None:
            self._keyring.reload()

    def handle_exit(self, sig: int, frame: FrameType | None) -> None:  # noqa: ARG002 - uvicorn's
        """Stop wanting traffic at once and stop listening later, and end with status 0.

        A second signal does not wait for the drain; a third does not wait for answers.
        """
        if self._readiness.draining or self._drain_s == 0:
            self.force_exit = self.should_exit
            self.should_exit = True
        else:
            asyncio.get_running_loop().call_later(self._drain_s, self._stop)
        event(logging.INFO, "stopping", signal=signal.Signals(sig).name, drain_s=self._drain_s)
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
    with logging_to(sys.stderr.fileno(), settings) as (writer, tell):
        try:
            with tracing(settings) as traced:
                app = create_app(settings, tell=tell, traced=traced)
                app.state.meters.log_lines_dropped.set_function(lambda: writer.dropped)
                return serve(app, settings)
        except CannotServeError as error:
            sys.stderr.write(f"{error}\n")
            return 1
        finally:
            # What threads still say while the process ends goes nowhere: whoever reads may have
            # stopped reading, and the process must end all the same.
            logging.getLogger().addHandler(logging.NullHandler())


def serve(app: Litestar, settings: Settings) -> int:
    """Serve until told to stop."""
    config = uvicorn.Config(
        app,
        host=settings.host,
        port=settings.port,
        loop="uvloop",
        http=connections(app, settings),
        lifespan="on",
        log_config=None,
        log_level="warning",
        access_log=False,
        server_header=False,
        timeout_keep_alive=KEEP_ALIVE_S,
        timeout_graceful_shutdown=grace_s(settings),
        # Who is believed about the address of a caller is a setting of ours.
        proxy_headers=False,
    )
    bound = _bound(settings)
    state = app.state
    with metrics_served(settings, state.meters.registry) as metrics:
        worker = Worker(config, state.readiness, state.keyring, settings, metrics)
        worker.run(sockets=[bound])
    event(logging.INFO, "stop")
    return 0


def _bound(settings: Settings) -> socket.socket:
    """Take the address to listen on; nobody is heard there before the service is ready."""
    bound = socket.socket(socket.AF_INET6 if ":" in settings.host else socket.AF_INET)
    bound.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        bound.bind((settings.host, settings.port))
    except OSError as error:
        bound.close()
        raise CannotServeError(
            f"Nothing can listen on {settings.host} port {settings.port}: {error.strerror}. Stop "
            "what listens there, or set LOOPMARGIN_HOST and LOOPMARGIN_PORT to an address that "
            "is free here."
        ) from error
    return bound


@contextmanager
def tracing(settings: Settings) -> Iterator[Wrap]:
    """Keep traces within a block, if the settings say where; only then is the library loaded."""
    if not settings.traces_endpoint:
        yield lambda app, _routes: app
        return
    try:
        from loopmargin_service.http.traces import Traced, traces  # noqa: PLC0415 - see above
    except ImportError as error:
        raise CannotServeError(
            "LOOPMARGIN_TRACES_ENDPOINT is set, but what sends traces is not installed; "
            "install loopmargin[service,tracing] or leave the variable out."
        ) from error
    kept = traces(settings)
    try:
        yield lambda app, routes: Traced(app, kept, routes)
    finally:
        kept.close()


def grace_s(settings: Settings) -> int:
    """Longest time that answers under way may take after the drain. [s]"""
    return math.ceil(settings.deadline_s) + SENDING_S


def connections(app: Litestar, settings: Settings) -> type[Connection]:
    """Make the class of this application's connections.

    Where traces are kept every request is a task, because a span belongs to one.
    """
    bounds = Bounds(
        connections=settings.connections,
        patience_s=settings.patience_s,
        floor_bytes=settings.body_bytes_per_s,
        refused=app.state.meters.connections_refused.add,
    )
    if settings.traces_endpoint:
        return type("Bounded", (Connection,), {"bounds": bounds})
    return type("Prompt", (PromptConnection,), {"bounds": bounds, "front": app.state.front})


def _address(bound: socket.socket) -> str:
    host, port = bound.getsockname()[:2]
    return f"http://[{host}]:{port}" if bound.family == socket.AF_INET6 else f"http://{host}:{port}"


def _settings(arguments: Sequence[str] | None) -> Settings:
    """Take the environment, and host and port from the command line where given."""
    parser = argparse.ArgumentParser(prog="loopmargin", description=main.__doc__)
    parser.add_argument("--host", help="address to listen on")
    parser.add_argument("--port", help="port to listen on; 0 takes a free one and prints it")
    given = {name: value for name, value in vars(parser.parse_args(arguments)).items() if value}
    named = {f"LOOPMARGIN_{name.upper()}": value for name, value in given.items()}
    return read({**os.environ, **named})
