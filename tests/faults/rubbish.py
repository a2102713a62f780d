"""A server that answers whatever it hears with the same bytes and hangs up."""

import contextlib
import socketserver
import threading
from collections.abc import Iterator


@contextlib.contextmanager
def rubbish_server(said: bytes) -> Iterator[str]:
    """Run it on a free port within a block; give its address as a Redis URL."""

    class Talk(socketserver.BaseRequestHandler):
        def handle(self) -> None:
            self.request.recv(4096)
            self.request.sendall(said)

    with socketserver.ThreadingTCPServer(("127.0.0.1", 0), Talk) as server:
        thread = threading.Thread(target=server.serve_forever, args=(0.05,))
        thread.start()
        try:
            yield f"redis://127.0.0.1:{server.server_address[1]}/0"
        finally:
            server.shutdown()
            thread.join()
