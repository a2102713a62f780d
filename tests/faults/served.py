"""An application of its own on a free loopback port, served from a thread of the test."""

import contextlib
import threading
from collections.abc import Iterator

import uvicorn
from litestar import Litestar


class _Server(uvicorn.Server):
    """A server that says when it listens."""

    def __init__(self, config: uvicorn.Config) -> None:
        super().__init__(config)
        self.listens = threading.Event()

    async def startup(self, sockets: object = None) -> None:
        """Start listening."""
        await super().startup(sockets)  # type: ignore[arg-type]
        self.listens.set()


@contextlib.contextmanager
def served(app: Litestar) -> Iterator[str]:
    """Serve within a block; give the address."""
    config = uvicorn.Config(app, port=0, lifespan="on", log_level="warning", access_log=False)
    bound = config.bind_socket()
    server = _Server(config)
    thread = threading.Thread(target=server.run, kwargs={"sockets": [bound]})
    thread.start()
    try:
        assert server.listens.wait(60.0)
        host, port = bound.getsockname()[:2]
        yield f"http://{host}:{port}"
    finally:
        server.should_exit = True
        thread.join()
