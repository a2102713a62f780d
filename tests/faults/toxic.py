"""A TCP proxy on loopback that spoils what passes: slows, holds, cuts, slices, resets it."""

import asyncio
import contextlib
import socket
import struct
import threading
from collections.abc import Iterator
from typing import NamedTuple

CHUNK = 65536
# Closing with this set sends a reset instead of a farewell.
RESET = struct.pack("ii", 1, 0)


class Toxin(NamedTuple):
    """What is done to the bytes that come back from the server; by default nothing."""

    latency_s: float = 0.0
    hang: bool = False
    refuse: bool = False
    reset_after: int | None = None
    cut_after: int | None = None
    slice_bytes: int = CHUNK
    replace: bytes | None = None


HARMLESS = Toxin()


class ToxicProxy:
    """Passes connections on to one port of this machine; the toxin can be changed at any time."""

    def __init__(self, target_port: int) -> None:
        self.toxin = HARMLESS
        self.port = 0
        self._target_port = target_port
        self._loop = asyncio.new_event_loop()
        self._thread = threading.Thread(target=self._loop.run_forever)
        self._talks: set[asyncio.Task[None]] = set()
        self._server: asyncio.Server | None = None

    @property
    def url(self) -> str:
        """Address as a Redis URL."""
        return f"redis://127.0.0.1:{self.port}/0"

    def start(self) -> None:
        """Listen on a free port."""
        self._thread.start()
        asyncio.run_coroutine_threadsafe(self._listen(), self._loop).result(20.0)

    def stop(self) -> None:
        """Hang up on everybody."""
        asyncio.run_coroutine_threadsafe(self._close(), self._loop).result(20.0)
        self._loop.call_soon_threadsafe(self._loop.stop)
        self._thread.join()
        self._loop.close()

    def hang_up(self) -> None:
        """End every connection that is open."""
        asyncio.run_coroutine_threadsafe(self._end_talks(), self._loop).result(20.0)

    async def _listen(self) -> None:
        self._server = await asyncio.start_server(self._accepted, "127.0.0.1", 0)
        self.port = self._server.sockets[0].getsockname()[1]

    async def _close(self) -> None:
        assert self._server is not None
        self._server.close()
        await self._end_talks()

    async def _end_talks(self) -> None:
        for talk in self._talks:
            talk.cancel()
        await asyncio.gather(*self._talks, return_exceptions=True)

    async def _accepted(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        talk = asyncio.current_task()
        assert talk is not None
        self._talks.add(talk)
        talk.add_done_callback(self._talks.discard)
        with contextlib.suppress(OSError, asyncio.CancelledError), _closing(writer):
            if not self.toxin.refuse:
                await self._talk(reader, writer)

    async def _talk(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        back, forth = await asyncio.open_connection("127.0.0.1", self._target_port)
        with _closing(forth):
            ways = [
                asyncio.create_task(_passed_on(reader, forth)),
                asyncio.create_task(self._spoiled(back, writer)),
            ]
            try:
                await asyncio.wait(ways, return_when=asyncio.FIRST_COMPLETED)
            finally:
                for way in ways:
                    way.cancel()
                await asyncio.gather(*ways, return_exceptions=True)

    async def _spoiled(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        """Pass replies on until one of them is spoiled so that the connection has to end."""
        while chunk := await reader.read(CHUNK):
            toxin = self.toxin
            if toxin.hang:
                await asyncio.Event().wait()
            await asyncio.sleep(toxin.latency_s)
            shown = chunk if toxin.replace is None else toxin.replace
            limits = [end for end in (toxin.cut_after, toxin.reset_after) if end is not None]
            await _in_slices(writer, shown[: min(limits, default=len(shown))], toxin.slice_bytes)
            if toxin.reset_after is not None:
                _reset(writer)
            if limits:
                return


async def _passed_on(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
    while chunk := await reader.read(CHUNK):
        writer.write(chunk)
        await writer.drain()


async def _in_slices(writer: asyncio.StreamWriter, data: bytes, size: int) -> None:
    for start in range(0, len(data), size):
        writer.write(data[start : start + size])
        await writer.drain()
        if size < CHUNK:
            # Long enough that the other side reads the piece alone.
            await asyncio.sleep(0.0005)


def _reset(writer: asyncio.StreamWriter) -> None:
    connection: socket.socket = writer.get_extra_info("socket")
    connection.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, RESET)
    writer.transport.abort()


@contextlib.contextmanager
def _closing(writer: asyncio.StreamWriter) -> Iterator[None]:
    try:
        yield
    finally:
        writer.close()


@contextlib.contextmanager
def toxic_proxy(target_port: int) -> Iterator[ToxicProxy]:
    """Run a proxy within a block."""
    proxy = ToxicProxy(target_port)
    proxy.start()
    try:
        yield proxy
    finally:
        proxy.stop()
