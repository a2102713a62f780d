"""Worker processes for long calculations, as a standard executor whose running tasks can be ended.

Each process has a thread here that hands it one task at a time and a pool of its own, so that
processes share no lock: one that dies in the wrong place holds up no other. Whatever ends a
task early (a cancel, its time limit, a death) also ends the process and its pool, and the
next task gets a new one, forked within some hundredths of a second from a server that has
imported everything before.
"""

import asyncio
import itertools
import time
from collections.abc import Callable
from concurrent.futures import CancelledError, Executor, Future, InvalidStateError
from functools import partial
from queue import Empty, PriorityQueue
from threading import Lock, Thread
from typing import Any, ClassVar, NamedTuple, ParamSpec, TypeVar

from pebble import ProcessFuture

from loopmargin_service.http.worker_process import Desk, InPlace, WorkerProcess, usable_cores

T = TypeVar("T")
P = ParamSpec("P")

# One worker's memory of its own; beyond it a task fails with MemoryError. [byte]
MEMORY_BYTES = 2 * 2**30
# Answers of the process that listens go before calculations.
NICENESS = 10
FIRST, BEHIND, LAST = range(3)


class Job(NamedTuple):
    """One task: its turn, whom to tell, what to do, and until when and for how long."""

    rank: int
    number: int
    future: Future[Any]
    call: Callable[[], Any]
    deadline: float | None = None
    longest_s: float | None = None

    def time_left(self) -> float | None:
        """Give the time that is left, if there is a limit, or complain that none is. [s]"""
        if self.deadline is None:
            return self.longest_s
        left = self.deadline - time.monotonic()
        if left <= 0.0:
            raise TimeoutError("the time of this task is over")
        return left


class Workers(Executor):
    """So many worker processes, started with the first task.

    Functions and arguments must be picklable. With no process at all, tasks are done one by
    one on a thread of this process, where nothing can be ended: a task that was cancelled runs
    on unheard, and one that is out of time fails only when it is done.
    """

    def __init__(
        self,
        processes: int = -1,
        *,
        memory_bytes: int = MEMORY_BYTES,
        niceness: int = NICENESS,
    ) -> None:
        self.processes = usable_cores() if processes < 0 else processes
        self.replaced = 0
        self.busy = 0
        self._memory_bytes = memory_bytes
        self._niceness = niceness
        self._jobs: PriorityQueue[tuple[int, int, Job | None]] = PriorityQueue()
        self._numbers = itertools.count()
        self._lock = Lock()
        self._threads: list[Thread] = []
        self._running: set[Future[Any]] = set()
        self._closed = False
        self._ending = False

    @property
    def waiting(self) -> int:
        """Count the tasks that have not begun."""
        return self._jobs.qsize()

    def submit(self, fn: Callable[P, T], /, *args: P.args, **kwargs: P.kwargs) -> Future[T]:
        """Have a task done; cancelling its future ends it even while it runs."""
        return self._put(FIRST, partial(fn, *args, **kwargs))

    def submit_within(
        self, timeout_s: float, fn: Callable[P, T], /, *args: P.args, **kwargs: P.kwargs
    ) -> Future[T]:
        """Have a task done within a time that includes its waiting, or fail with TimeoutError."""
        deadline = time.monotonic() + timeout_s
        return self._put(FIRST, partial(fn, *args, **kwargs), deadline=deadline)

    def behind(self, longest_s: float | None = None) -> "Behind":
        """Give an executor over the same processes whose tasks wait for all other tasks.

        A task that takes longer than *longest_s*, without its waiting, fails with TimeoutError.
        """
        return Behind(self, longest_s)

    def submit_behind(
        self, longest_s: float | None, fn: Callable[P, T], /, *args: P.args, **kwargs: P.kwargs
    ) -> Future[T]:
        """Have a task done when no other waits, within some time of its own if that is limited."""
        return self._put(BEHIND, partial(fn, *args, **kwargs), longest_s=longest_s)

    def shutdown(self, wait: bool = True, *, cancel_futures: bool = False) -> None:  # noqa: FBT001, FBT002 - the signature of every executor
        """Take no more tasks; cancelling ends also those that run."""
        with self._lock:
            self._closed = True
            threads = list(self._threads)
        if cancel_futures:
            self._cancel_all()
        for _ in threads:
            self._jobs.put((LAST, next(self._numbers), None))
        for thread in threads if wait else ():
            thread.join()

    async def close(self) -> None:
        """End everything, without holding up the event loop."""
        await asyncio.to_thread(self.shutdown, cancel_futures=True)

    def _cancel_all(self) -> None:
        """Cancel what waits and what runs."""
        with self._lock:
            self._ending = True
            running = list(self._running)
        while True:
            try:
                _, _, job = self._jobs.get_nowait()
            except Empty:
                break
            if job is not None:
                job.future.cancel()
                job.future.set_running_or_notify_cancel()
        for future in running:
            future.cancel()

    def _put(self, rank: int, call: Callable[[], Any], **limits: float | None) -> Future[Any]:
        """Queue a task; the first one starts the threads."""
        with self._lock:
            if self._closed:
                raise RuntimeError("these workers have been shut down")
            if not self._threads:
                self._threads = [self._thread() for _ in range(max(1, self.processes))]
            future: Future[Any] = ProcessFuture()
            job = Job(rank, next(self._numbers), future, call, **limits)
            self._jobs.put((job.rank, job.number, job))
        return future

    def _thread(self) -> Thread:
        """Start one thread with its desk."""
        desk: Desk = (
            WorkerProcess(self._memory_bytes, self._niceness) if self.processes else InPlace()
        )
        thread = Thread(target=self._serve, args=(desk,), name="workers", daemon=True)
        thread.start()
        return thread

    def _serve(self, desk: Desk) -> None:
        """Do one task after the other until told to stop."""
        while (job := self._jobs.get()[2]) is not None:
            if not job.future.set_running_or_notify_cancel():
                continue
            with self._lock:
                self.busy += 1
                self._running.add(job.future)
                ending = self._ending
            if ending:
                job.future.cancel()
            replaced = desk.replaced
            _deliver(job, desk)
            with self._lock:
                self.busy -= 1
                self._running.discard(job.future)
                self.replaced += desk.replaced - replaced
        desk.close()


class Behind(Executor):
    """Workers seen by a caller whose tasks may wait for all others."""

    rank: ClassVar[int] = BEHIND

    def __init__(self, workers: Workers, longest_s: float | None) -> None:
        self.workers = workers
        self._longest_s = longest_s

    def submit(self, fn: Callable[P, T], /, *args: P.args, **kwargs: P.kwargs) -> Future[T]:
        """Have a task done when no other waits."""
        return self.workers.submit_behind(self._longest_s, fn, *args, **kwargs)


def _deliver(job: Job, desk: Desk) -> None:
    """Do a task and tell how it ended, if still somebody wants to know."""
    try:
        result = desk.work(job.call, job.future, job.time_left())
        job.time_left()
    except CancelledError:
        _tell(job.future.set_running_or_notify_cancel)
    except BaseException as error:  # noqa: BLE001 - handed to who waits for it
        _tell(job.future.set_exception, error)
    else:
        _tell(job.future.set_result, result)


def _tell(how: Callable[..., object], *what: object) -> None:
    """Tell a future something, unless it was cancelled in this very moment."""
    try:
        how(*what)
    except (InvalidStateError, RuntimeError):
        return
