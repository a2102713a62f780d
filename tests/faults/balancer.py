"""A small balancer: connections go round the replicas that say they are ready."""

import asyncio
import contextlib
import threading
from types import TracebackType
from typing import Self

import httpx

LOOK_S = 0.05


class Balancer:
    """Passes bytes between callers and replicas within a block; it never tries anything twice."""

    def __init__(self, replicas: list[str]) -> None:
        self.replicas = list(replicas)
        self.ready = list(replicas)
        self._turn = 0
        self._loop = asyncio.new_event_loop()
        self._thread = threading.Thread(target=self._loop.run_until_complete, args=(self._run(),))
        self._listens = threading.Event()

    def __enter__(self) -> Self:
        """Start it and wait until it listens."""
        self._thread.start()
        assert self._listens.wait(20.0)
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """Stop it and everything that still passes through it."""
        self._loop.call_soon_threadsafe(self._main.cancel)
        self._thread.join()
        self._loop.close()

    async def _run(self) -> None:
        self._main = asyncio.create_task(self._serve())
        with contextlib.suppress(asyncio.CancelledError):
            await self._main
        passing = asyncio.all_tasks() - {asyncio.current_task()}
        for task in passing:
            task.cancel()
        await asyncio.gather(*passing, return_exceptions=True)

    async def _serve(self) -> None:
        server = await asyncio.start_server(self._pass, "127.0.0.1", 0)
        host, port = server.sockets[0].getsockname()
        self.url = f"http://{host}:{port}"
        self._listens.set()
        async with server, httpx.AsyncClient(timeout=5.0) as prober:
            while True:
                self.ready = [url for url in self.replicas if await self._wants(prober, url)]
                await asyncio.sleep(LOOK_S)

    async def _wants(self, prober: httpx.AsyncClient, url: str) -> bool:
        """Ask a replica whether it wants traffic; one that says nothing is as it was."""
        try:
            return (await prober.get(url + "/readyz")).status_code == 200
        except httpx.ConnectError:
            return False
        except httpx.TransportError:
            return url in self.ready

    async def _pass(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        """Join a caller to the next replica until either has said all."""
        self._turn += 1
        chosen = httpx.URL(self.ready[self._turn % len(self.ready)])
        far_reader, far_writer = await asyncio.open_connection(chosen.host, chosen.port)
        await asyncio.gather(_copy(reader, far_writer), _copy(far_reader, writer))


async def _copy(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
    try:
        while chunk := await reader.read(65536):
            writer.write(chunk)
            await writer.drain()
    except ConnectionError:
        pass
    finally:
        writer.close()
