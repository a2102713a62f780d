"""The service with some of its layers: `python -m tests.performance.layers_server <way> <folder>`.

What is compared with is a stored answer by the server as it comes: its own protocol, an
application that reads the body and gives the stored reply, and nothing of ours around it.
"""

import os
import sys
from pathlib import Path

from litestar import Litestar
from litestar.types import HTTPRequestEvent, Receive, Scope, Send
from uvicorn.protocols.http.httptools_impl import HttpToolsProtocol

from loopmargin_service.http import serve
from loopmargin_service.http.app import create_app
from loopmargin_service.http.log import logging_to
from loopmargin_service.http.passing import Passing
from loopmargin_service.http.pipeline import Pipeline
from loopmargin_service.http.settings import Settings

MOST_UNITS = 600_000
UNITS = {"quota_units_per_min": MOST_UNITS, "quota_burst_units": MOST_UNITS}


class Bare:
    """Gives stored replies and nothing else; what is not stored yet goes to the service once."""

    def __init__(self, service: Pipeline) -> None:
        self._service = service

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Handle one request."""
        if scope["type"] != "http":
            await self._service(scope, receive, send)
            return
        body, more = b"", True
        while more:
            message = await receive()
            assert message["type"] == "http.request"
            body += message["body"]
            more = message["more_body"]
        reply = self._service.repeats.ready(Passing(scope, 0.0), body)
        if reply is not None:
            await reply(scope, receive, send)
            return
        read: HTTPRequestEvent = {"type": "http.request", "body": body, "more_body": False}
        again = iter([read])

        async def handed_on() -> HTTPRequestEvent:
            return next(again, None) or await receive()

        await self._service(scope, handed_on, send)


def chosen(way: str, folder: Path) -> Settings:
    """Give the settings of one way."""
    keyed = {"keys_file": str(folder / "keys")}
    match way:
        case "quota by address":
            return Settings(port=0, quota_by_address=True, **UNITS)
        case "keys and quota":
            return Settings(port=0, **keyed)
        case "everything":
            return Settings(port=0, **keyed, origins=(folder / "origin").read_text())
        case "everything, quota shared":
            url = (folder / "redis").read_text()
            origin = (folder / "origin").read_text()
            return Settings(port=0, **keyed, origins=origin, redis_url=url)
    return Settings(port=0)


def main(way: str, folder: Path) -> int:
    """Serve on a free port; the log goes to a file."""
    settings = chosen(way, folder)
    log = os.open(folder / "log", os.O_WRONLY | os.O_CREAT | os.O_APPEND)
    with logging_to(log, settings) as (_, tell):
        logs = way not in {"without", "names and metrics"}
        app = create_app(settings, tell=tell if logs else None)
        if way == "without":
            app.asgi_handler = Bare(app.state.front)
            serve.connections = as_it_comes  # type: ignore[assignment]
        return serve.serve(app, settings)


def as_it_comes(_app: Litestar, _settings: Settings) -> type[HttpToolsProtocol]:
    """Take the server's own protocol."""
    return HttpToolsProtocol


if __name__ == "__main__":
    sys.exit(main(sys.argv[1], Path(sys.argv[2])))
