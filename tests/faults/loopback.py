"""A server on a free loopback port that behaves as badly as a test wants."""

import contextlib
import socket
import threading
import time
from collections.abc import Callable, Iterator

from tests.unit.sdk.standin import MSGPACK, answered

Behaviour = Callable[[socket.socket], None]
BODY = answered().content
HEAD = f"HTTP/1.1 200 OK\r\ncontent-type: {MSGPACK}\r\ncontent-length: {len(BODY)}\r\n\r\n".encode()
WHOLE = HEAD + BODY
DRIP_S = 0.02
DRIPS = 150


class Loopback:
    """Accepts connections, counts them, and hands each to a behaviour in a thread."""

    def __init__(self, behaviour: Behaviour) -> None:
        self._behaviour = behaviour
        self._listener = socket.create_server(("127.0.0.1", 0))
        self._threads: list[threading.Thread] = []
        self._open: list[socket.socket] = []
        self.accepted = 0
        self.url = f"http://127.0.0.1:{self._listener.getsockname()[1]}"

    def serve(self) -> None:
        """Accept until closed."""
        while True:
            try:
                connection, _ = self._listener.accept()
            except OSError:
                return
            self.accepted += 1
            self._open.append(connection)
            thread = threading.Thread(target=self._behave, args=(connection,))
            self._threads.append(thread)
            thread.start()

    def _behave(self, connection: socket.socket) -> None:
        with contextlib.suppress(OSError), connection:
            self._behaviour(connection)

    def close(self) -> None:
        """Stop accepting, hang up on everybody, wait for the threads."""
        self._listener.shutdown(socket.SHUT_RDWR)
        self._listener.close()
        for connection in self._open:
            with contextlib.suppress(OSError):
                connection.shutdown(socket.SHUT_RDWR)
        for thread in self._threads:
            thread.join()


@contextlib.contextmanager
def loopback(behaviour: Behaviour) -> Iterator[Loopback]:
    """Serve within a block."""
    server = Loopback(behaviour)
    accepting = threading.Thread(target=server.serve)
    accepting.start()
    try:
        yield server
    finally:
        server.close()
        accepting.join()


def request(connection: socket.socket) -> bool:
    """Read one whole request; false when the caller hung up."""
    received = b""
    while b"\r\n\r\n" not in received:
        chunk = connection.recv(65536)
        if not chunk:
            return False
        received += chunk
    head, _, body = received.partition(b"\r\n\r\n")
    fields = dict(line.lower().split(b": ", 1) for line in head.split(b"\r\n")[1:])
    while len(body) < int(fields.get(b"content-length", b"0")):
        body += connection.recv(65536)
    return True


def well(connection: socket.socket) -> None:
    """Answer every request on the connection."""
    while request(connection):
        connection.sendall(WHOLE)


def once(connection: socket.socket) -> None:
    """Answer one request and hang up without saying so before."""
    if request(connection):
        connection.sendall(WHOLE)


def silent(connection: socket.socket) -> None:
    """Never answer."""
    while request(connection):
        pass


def broken_off(connection: socket.socket) -> None:
    """Hang up in the middle of the body."""
    if request(connection):
        connection.sendall(WHOLE[:-40])


def dripping_head(connection: socket.socket) -> None:
    """Send a header that does not end, a little at a time."""
    if request(connection):
        connection.sendall(b"HTTP/1.1 200 OK\r\nx-")
        drip(connection)


def dripping_body(connection: socket.socket) -> None:
    """Send a body that does not end, a little at a time."""
    if request(connection):
        connection.sendall(b"HTTP/1.1 200 OK\r\ncontent-length: 1000000\r\n\r\n")
        drip(connection)


def drip(connection: socket.socket) -> None:
    """Send a byte now and then, far longer than any deadline of a test."""
    for _ in range(DRIPS):
        connection.sendall(b"x")
        time.sleep(DRIP_S)
