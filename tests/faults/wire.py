"""Bytes to a service and back, over a socket that a test holds in its hand."""

import re
import socket
from contextlib import suppress
from typing import NamedTuple

import httpx
import msgspec

from tests.faults.service_process import ServiceProcess

PATIENCE_S = 20.0


class Heard(NamedTuple):
    """Everything the service said, and whether it then closed the connection."""

    said: bytes
    closed: bool

    @property
    def statuses(self) -> list[int]:
        """Statuses of the responses."""
        return [int(status) for status in re.findall(rb"HTTP/1.1 (\d{3}) ", self.said)]

    @property
    def problem(self) -> str:
        """Name of the problem that the last response tells."""
        body = self.said[self.said.rindex(b"\r\n\r\n") + 4 :]
        return str(msgspec.json.decode(body)["type"]).removeprefix("/problems/")


def connect(service: ServiceProcess) -> socket.socket:
    """Open a connection; what is not said or closed in a long time is a failure."""
    address = httpx.URL(service.url)
    return socket.create_connection((address.host, address.port or 0), timeout=PATIENCE_S)


def tell(connection: socket.socket, *pieces: bytes) -> None:
    """Send pieces, for as long as somebody takes them."""
    with suppress(BrokenPipeError, ConnectionResetError):
        for piece in pieces:
            connection.sendall(piece)


def hear(connection: socket.socket) -> Heard:
    """Read until the service closes the connection."""
    said = b""
    with suppress(ConnectionResetError):
        while chunk := connection.recv(65536):
            said += chunk
    return Heard(said, closed=True)


def hear_one(connection: socket.socket) -> bytes:
    """Read one response to its end, and nothing behind it."""
    said = b""
    while b"\r\n\r\n" not in said:
        said += connection.recv(1)
    length = re.search(rb"content-length: (\d+)", said)
    assert length is not None
    wanted = len(said) + int(length[1])
    while len(said) < wanted:
        said += connection.recv(wanted - len(said))
    return said


def talk(service: ServiceProcess, *pieces: bytes) -> Heard:
    """Send pieces and read until the service closes the connection."""
    with connect(service) as connection:
        tell(connection, *pieces)
        return hear(connection)


def head(*fields: str, line: str = "POST /v1/pump-head HTTP/1.1", host: str = "host: a") -> bytes:
    """Write the head of a request."""
    given = [line, *([host] if host else []), "content-type: application/json", *fields]
    return "\r\n".join([*given, "", ""]).encode("latin-1")
