"""One worker process: how it starts, does a task, is ended and replaced."""

import gc
import multiprocessing
import os
import pickle
import resource
import sys
import traceback
from collections.abc import Callable
from concurrent.futures import CancelledError, Future
from concurrent.futures.process import BrokenProcessPool
from threading import Thread
from typing import Any, Protocol

from pebble import ProcessExpired, ProcessPool

# Imported before the first worker is forked; everything a question needs hangs on it.
PRELOADED = ["loopmargin_service.http.routes"]
ONE_THREAD = ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS")
# How often a task is handed to another process because one was found dead before it began.
MOST_STARTS = 3
# How long a calculating thread may keep the interpreter from the event loop. [s]
SWITCH_INTERVAL = 0.0005


class WorkerLost(RuntimeError):  # noqa: N818 - a state of the process, not a mishap of the task
    """The process died under its task: killed from outside, out of memory, or by the task."""


class TaskError(RuntimeError):
    """A task failed with an exception that cannot travel; its traceback is the message."""


class Desk(Protocol):
    """Where tasks are done one at a time; `replaced` counts how often it was set up anew."""

    replaced: int

    def work(self, call: Callable[[], Any], heard: Future[Any], within_s: float | None) -> Any:  # noqa: ANN401 - whatever the task gives
        """Do one task, until the future is cancelled or the time is over."""

    def close(self) -> None:
        """Leave nothing behind."""


class InPlace:
    """A desk in this process."""

    def __init__(self) -> None:
        self.replaced = 0
        sys.setswitchinterval(SWITCH_INTERVAL)

    def work(self, call: Callable[[], Any], heard: Future[Any], within_s: float | None) -> Any:  # noqa: ANN401, ARG002 - whatever the task gives; it cannot be ended here
        """Do one task."""
        return call()

    def close(self) -> None:
        """Leave nothing behind."""


class WorkerProcess:
    """A desk in a process of its own."""

    def __init__(self, memory_bytes: int, niceness: int) -> None:
        self.replaced = 0
        self._memory_bytes = memory_bytes
        self._niceness = niceness
        self._pool: ProcessPool | None = None

    def work(self, call: Callable[[], Any], heard: Future[Any], within_s: float | None) -> Any:  # noqa: ANN401 - whatever the task gives
        """Do one task there; a process that ends before its task is done is replaced."""
        for _ in range(MOST_STARTS):
            pool = self._pool = self._pool or _pool(self._memory_bytes, self._niceness)
            try:
                return _done(pool, call, heard, within_s)
            except BrokenProcessPool:
                self._discard()
            except ProcessExpired as error:
                self._discard()
                raise WorkerLost(f"the worker process ended with status {error.exitcode}") from None
            except (CancelledError, TimeoutError):
                self._discard()
                raise
        raise WorkerLost(f"{MOST_STARTS} worker processes ended before they began")

    def close(self) -> None:
        """End the process."""
        pool, self._pool = self._pool, None
        if pool is not None:
            pool.stop()  # type: ignore[no-untyped-call]
            pool.join()

    def _discard(self) -> None:
        """End the process, whatever it does; the next task gets a new one."""
        self.replaced += 1
        self.close()


def usable_cores() -> int:
    """Count the cores that this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def _pool(memory_bytes: int, niceness: int) -> ProcessPool:
    """Prepare a pool of one process."""
    for name in ONE_THREAD:
        os.environ.setdefault(name, "1")
    context = multiprocessing.get_context("forkserver")
    context.set_forkserver_preload(PRELOADED)
    return ProcessPool(1, initializer=_settle, initargs=(memory_bytes, niceness), context=context)


def _done(
    pool: ProcessPool, call: Callable[[], Any], heard: Future[Any], within_s: float | None
) -> Any:  # noqa: ANN401 - whatever the task gives
    """Hand a task to the process and wait for its end."""
    try:
        inner = pool.schedule(_portable, (call,), timeout=within_s)
    except RuntimeError as error:
        raise BrokenProcessPool from error

    def pass_on(outer: Future[Any]) -> None:
        if outer.cancelled():
            inner.cancel()  # type: ignore[no-untyped-call]

    heard.add_done_callback(pass_on)
    return inner.result()


def _settle(memory_bytes: int, niceness: int) -> None:
    """Set up a worker process: behind others, bounded in memory, ending with its parent."""
    os.nice(niceness)
    _, hardest = resource.getrlimit(resource.RLIMIT_DATA)
    limit = memory_bytes if hardest == resource.RLIM_INFINITY else min(memory_bytes, hardest)
    resource.setrlimit(resource.RLIMIT_DATA, (limit, hardest))
    gc.freeze()
    Thread(target=_follow_parent, name="follow-parent", daemon=True).start()


def _follow_parent() -> None:
    """End this process when the one that started it is gone."""
    parent = multiprocessing.parent_process()
    if parent is not None:
        parent.join()
        os._exit(1)


def _portable(call: Callable[[], Any]) -> Any:  # noqa: ANN401 - whatever the task gives
    """Do a task; an exception that would not survive the way back is told as text."""
    try:
        return call()
    except Exception as error:
        try:
            pickle.loads(pickle.dumps(error))  # noqa: S301 - our own exception
        except Exception:  # noqa: BLE001 - whatever keeps it from travelling
            raise TaskError(traceback.format_exc()) from None
        raise
