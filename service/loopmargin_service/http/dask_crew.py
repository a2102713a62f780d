"""The workers of a Dask cluster as a crew; needs the extra `dask`, imported only when asked for.

The connection is made with the first task and made anew after it broke. Workers must have
this service installed in the same edition; the scheduler and its port need the same care as
a database: whoever reaches it can run code.
"""

import asyncio
import threading
import time
from collections.abc import Callable
from concurrent.futures import Executor
from functools import partial
from typing import TypeVar, TypeVarTuple

from distributed import Client
from distributed.comm.core import CommClosedError
from distributed.scheduler import KilledWorker

from loopmargin_service.http.crew import CrewGone, handed, heard
from loopmargin_service.http.worker_process import WorkerLost
from loopmargin_service.questions import edition

CONNECT_S = 5.0
# After a failure nothing is tried for a while. [s]
PAUSE_S = 15.0
# How often to look whether the connection stands, and how long one task may take. [s]
LOOK_S = 0.5
TASK_S = 120.0

Ts = TypeVarTuple("Ts")
T = TypeVar("T")


class DaskCrew:
    """Does tasks by a Dask scheduler."""

    def __init__(self, address: str) -> None:
        self._address = address
        self._lock = threading.Lock()
        self._client: Client | None = None
        self._executor: Executor | None = None
        self._not_before_s = 0.0

    @property
    def places(self) -> int:
        """Count the threads of the cluster, as last known."""
        client = self._client
        if client is None or client.status != "running":
            return 0
        workers = client.scheduler_info(n_workers=-1)["workers"].values()
        return sum(int(worker["nthreads"]) for worker in workers)

    async def run(self, longest_s: float, do: Callable[[*Ts], T], *args: *Ts) -> T:  # noqa: ARG002 - see below
        """Do one task there; how long it waits for a place is not known, so its time is TASK_S."""
        try:
            executor = await asyncio.to_thread(self._connected)
            future = executor.submit(partial(handed, edition.EDITION, do, *args))
            return await self._watched(asyncio.ensure_future(heard(future)), executor)
        except KilledWorker as error:
            raise WorkerLost(str(error)) from None
        except (OSError, CommClosedError, TimeoutError, RuntimeError) as error:
            if isinstance(error, WorkerLost):
                raise
            await self.close()
            if isinstance(error, CrewGone):
                raise
            raise CrewGone(str(error) or type(error).__name__) from error

    async def _watched(self, task: asyncio.Task[T], executor: Executor) -> T:
        """Wait for a task as long as its connection stands.

        When a scheduler dies under its answer, the client tells nobody who waits for it.
        """
        until_s = time.monotonic() + TASK_S
        try:
            while not (await asyncio.wait({task}, timeout=LOOK_S))[0]:
                if not self._stands(executor):
                    raise CrewGone("the connection to the scheduler is lost")
                if time.monotonic() > until_s:
                    raise CrewGone(f"a chunk was not solved within {TASK_S:.0f} s", "too_long")
            return task.result()
        finally:
            task.cancel()

    def _stands(self, executor: Executor) -> bool:
        """Tell whether an executor still has its connection."""
        client = self._client
        return executor is self._executor and client is not None and client.status == "running"

    async def close(self) -> None:
        """Let go of the cluster."""
        await asyncio.to_thread(self._lose)

    def _connected(self) -> Executor:
        """Give the executor of a connection that stands, or make one."""
        with self._lock:
            if self._client is not None and self._client.status == "running":
                assert self._executor is not None  # noqa: S101 - made with the client
                return self._executor
            if time.monotonic() < self._not_before_s:
                raise CrewGone("the scheduler could not be used a moment ago", "paused")
            self._drop()
            try:
                return self._connect()
            except BaseException:
                self._not_before_s = time.monotonic() + PAUSE_S
                raise

    def _connect(self) -> Executor:
        """Connect to a scheduler that has workers."""
        client = _client(self._address)
        if not client.scheduler_info(n_workers=-1)["workers"]:
            _close(client)
            raise CrewGone("the scheduler has no workers", "no_workers")
        self._client, self._executor = client, _executor(client)
        return self._executor

    def _lose(self) -> None:
        with self._lock:
            self._drop()

    def _drop(self) -> None:
        client, self._client, self._executor = self._client, None, None
        if client is not None:
            _close(client)


def _client(address: str) -> Client:
    return Client(address, timeout=CONNECT_S, set_as_default=False)  # type: ignore[no-untyped-call]


def _executor(client: Client) -> Executor:
    executor: Executor = client.get_executor(pure=False)  # type: ignore[no-untyped-call]
    return executor


def _close(client: Client) -> None:
    client.close(timeout=1)  # type: ignore[no-untyped-call]
