"""A caller of an application whose connection is in memory."""

import asyncio
from collections.abc import Callable, Coroutine
from typing import Any

import uvicorn
from litestar import Litestar
from uvicorn.server import ServerState

from loopmargin_service.http.app import create_app
from loopmargin_service.http.serve import connections
from loopmargin_service.http.settings import Settings
from tests.unit.http.parcel import Counter, parcel_routes

BODY = b'{"edges_mm":[1,2]}'
PATIENCE_S = 20.0


class Wire(asyncio.Transport):
    """The other end of a connection, in memory: keeps what is said."""

    def __init__(self) -> None:
        super().__init__()
        self.said = b""
        self.closed = False

    def get_extra_info(self, name: str, default: Any = None) -> Any:  # noqa: ANN401 - asyncio's
        """Come from the same machine."""
        return {"peername": ("127.0.0.1", 1), "sockname": ("127.0.0.1", 2)}.get(name, default)

    def write(self, data: bytes | bytearray | memoryview) -> None:
        """Take what is said."""
        self.said += bytes(data)

    def is_closing(self) -> bool:
        """Tell whether it was closed."""
        return self.closed

    def close(self) -> None:
        """Close it."""
        self.closed = True

    def write_eof(self) -> None:
        """Close the way to here."""
        self.closed = True

    def pause_reading(self) -> None:
        """Go on; there is no hurry."""

    def resume_reading(self) -> None:
        """Go on."""


class Caller:
    """A caller with a connection of its own."""

    def __init__(self, app: Litestar, settings: Settings) -> None:
        config = uvicorn.Config(
            app, http=connections(app, settings), lifespan="off", log_config=None
        )
        config.load()
        self.connection = config.http_protocol_class(
            config=config, server_state=ServerState(), app_state={}
        )
        self.wire = Wire()
        self.connection.connection_made(self.wire)

    def at_once(self, *pieces: bytes) -> bytes:
        """Send something and give what was said before anything else could happen."""
        for piece in pieces:
            self.connection.data_received(piece)
        return self._heard()

    async def at_last(self, *pieces: bytes) -> bytes:
        """Send something and wait for what is said."""
        heard = self.at_once(*pieces)
        async with asyncio.timeout(PATIENCE_S):
            while not heard:
                await asyncio.sleep(0.001)
                heard = self._heard()
        return heard

    def _heard(self) -> bytes:
        heard, self.wire.said = self.wire.said, b""
        return heard


def request(*fields: str, body: bytes = BODY, line: str = "POST /v1/parcel HTTP/1.1") -> bytes:
    """Write a question as it goes over the wire."""
    head = [line, "host: a", "content-type: application/json", *fields]
    return "\r\n".join([*head, f"content-length: {len(body)}", "", ""]).encode() + body


def talking(
    talk: Callable[[Caller, Litestar], Coroutine[Any, Any, None]],
    **chosen: Any,  # noqa: ANN401 - any setting
) -> None:
    """Let a caller talk to an application of its own."""

    async def run() -> None:
        settings = Settings(**chosen)
        app = create_app(settings, parcel_routes(Counter()))
        caller = Caller(app, settings)
        await talk(caller, app)
        caller.connection.connection_lost(None)

    asyncio.run(run())
