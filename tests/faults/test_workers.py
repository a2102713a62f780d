"""Worker processes: what ends early ends alone, and nothing stays behind."""

import asyncio
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from concurrent.futures import CancelledError, Future, wait
from pathlib import Path

import pytest

from loopmargin_service.http.worker_process import TaskError, WorkerLost, usable_cores
from loopmargin_service.http.workers import Job, Workers
from loopmargin_service.questions.refusals import Fault, Refusal
from tests.unit.http import worker_tasks

PATIENCE_S = 60.0

HOLDER = """
import sys, time
from loopmargin_service.http.workers import Workers
from tests.unit.http import worker_tasks

workers = Workers(2)
workers.submit(worker_tasks.never_end, sys.argv[1])
workers.submit(worker_tasks.never_end, sys.argv[2])
time.sleep(60)
"""


@pytest.fixture(scope="module")
def workers() -> Iterator[Workers]:
    """Run two worker processes for all tests that replace what they end."""
    pair = Workers(2)
    yield pair
    pair.shutdown(cancel_futures=True)


def eventually(holds: Callable[[], bool]) -> None:
    """Wait until something holds."""
    until = time.monotonic() + PATIENCE_S
    while not holds():
        assert time.monotonic() < until
        time.sleep(0.02)


def alive(process: int) -> bool:
    """Tell whether a process runs; one that is dead and not yet collected does not."""
    try:
        return Path(f"/proc/{process}/stat").read_text().rpartition(")")[2].split()[0] != "Z"
    except (FileNotFoundError, ProcessLookupError):
        return False


def marked(mark: Path) -> int:
    """Wait for a mark and give the process that left it."""
    eventually(lambda: mark.exists() and mark.read_text() != "")
    return int(mark.read_text())


def test_tasks_come_back_in_their_order(workers: Workers) -> None:
    """As from every executor."""
    assert list(workers.map(worker_tasks.double, range(20))) == list(range(0, 40, 2))


def test_they_are_other_processes_behind_this_one(workers: Workers) -> None:
    """Their answers may wait for those of the process that listens."""
    assert workers.submit(worker_tasks.process).result(PATIENCE_S) != os.getpid()
    assert workers.submit(worker_tasks.niceness).result(PATIENCE_S) >= os.nice(0) + 10


def test_a_refusal_keeps_its_faults(workers: Workers) -> None:
    """The place of a fault survives the way between processes."""
    with pytest.raises(Refusal) as caught:
        workers.submit(worker_tasks.refuse).result(PATIENCE_S)

    assert caught.value.faults == (Fault(("machine", "pumps"), "give a pump"),)


def test_an_exception_that_cannot_travel_is_told_as_text(workers: Workers) -> None:
    """It harms neither its process nor the next task."""
    with pytest.raises(TaskError, match="1 and 2"):
        workers.submit(worker_tasks.be_awkward).result(PATIENCE_S)

    assert workers.submit(worker_tasks.double, 4).result(PATIENCE_S) == 8


def test_a_task_that_cannot_be_sent_fails_alone(workers: Workers) -> None:
    """A function without a name cannot be found in another process."""
    with pytest.raises((AttributeError, TypeError, OSError, RuntimeError, Exception)) as caught:
        workers.submit(lambda: 1).result(PATIENCE_S)

    assert "pickle" in str(caught.value)
    assert workers.submit(worker_tasks.double, 4).result(PATIENCE_S) == 8


def test_a_process_that_dies_fails_its_task_alone(workers: Workers) -> None:
    """The others go on, and the next task has a process again."""
    before = workers.replaced
    tasks = [workers.submit(worker_tasks.double, number) for number in range(10)]
    poison = workers.submit(worker_tasks.die)
    tasks += [workers.submit(worker_tasks.double, number) for number in range(10)]

    with pytest.raises(WorkerLost):
        poison.result(PATIENCE_S)
    assert [task.result(PATIENCE_S) for task in tasks] == [0, 2, 4, 6, 8, 10, 12, 14, 16, 18] * 2
    eventually(lambda: workers.replaced == before + 1)


def test_a_process_that_died_idle_fails_no_task(workers: Workers) -> None:
    """Its death is noticed with the next task, which goes to another process."""
    idle = {workers.submit(worker_tasks.process).result(PATIENCE_S) for _ in range(8)}
    for process in idle:
        os.kill(process, signal.SIGKILL)

    tasks = [workers.submit(worker_tasks.double, number) for number in range(8)]

    assert [task.result(PATIENCE_S) for task in tasks] == list(range(0, 16, 2))


def test_cancelling_ends_the_process(workers: Workers, tmp_path: Path) -> None:
    """A running task is ended with its process, and those who wait for it are told."""
    task = workers.submit(worker_tasks.never_end, str(tmp_path / "mark"))
    process = marked(tmp_path / "mark")

    assert task.cancel()
    with pytest.raises(CancelledError):
        task.result(PATIENCE_S)
    assert wait([task], PATIENCE_S).done == {task}
    eventually(lambda: not alive(process))
    assert workers.submit(worker_tasks.double, 3).result(PATIENCE_S) == 6


def test_a_task_out_of_time_ends_with_its_process(workers: Workers, tmp_path: Path) -> None:
    """The limit counts from the submission."""
    task = workers.submit_within(2.0, worker_tasks.never_end, str(tmp_path / "mark"))
    process = marked(tmp_path / "mark")

    with pytest.raises(TimeoutError):
        task.result(PATIENCE_S)
    eventually(lambda: not alive(process))


def test_a_task_whose_time_is_over_before_its_turn_never_begins() -> None:
    """Nobody would hear the answer."""
    with Workers(1) as one:
        late = one.submit_within(0.0, worker_tasks.double, 1)
        with pytest.raises(TimeoutError, match="is over"):
            late.result(PATIENCE_S)


def test_a_task_too_large_fails_alone() -> None:
    """The limit is the worker's, and the task is told."""
    with Workers(1, memory_bytes=2**29) as one:
        with pytest.raises(MemoryError):
            one.submit(worker_tasks.fill, 2**30).result(PATIENCE_S)
        assert one.submit(worker_tasks.fill, 2**20).result(PATIENCE_S) == 2**17


def test_tasks_behind_wait_for_all_others(tmp_path: Path) -> None:
    """A single process does what came later but matters more first."""
    note, mark = tmp_path / "note", tmp_path / "mark"
    with Workers(1) as one:
        first = one.submit(worker_tasks.never_end, str(mark))
        marked(mark)
        behind = one.behind().submit(worker_tasks.write_line, str(note), "behind")
        before = one.submit(worker_tasks.write_line, str(note), "before")
        assert one.waiting == 2
        first.cancel()
        before.result(PATIENCE_S)
        behind.result(PATIENCE_S)

    assert note.read_text().split() == ["before", "behind"]


def test_a_task_behind_ends_with_its_own_time(tmp_path: Path) -> None:
    """Its process ends too, and the next task behind has another one."""
    with Workers(1) as one:
        limited = one.behind(longest_s=2.0)
        task = limited.submit(worker_tasks.never_end, str(tmp_path / "mark"))
        process = marked(tmp_path / "mark")

        with pytest.raises(TimeoutError):
            task.result(PATIENCE_S)
        eventually(lambda: not alive(process))
        assert limited.submit(worker_tasks.double, 3).result(PATIENCE_S) == 6


def test_a_time_of_its_own_does_not_run_while_a_task_waits() -> None:
    """A deadline does."""
    future: Future[int] = Future()
    own = Job(0, 0, future, int, longest_s=2.0)
    until = Job(0, 0, future, int, deadline=time.monotonic() - 1.0)

    assert own.time_left() == 2.0
    assert Job(0, 0, future, int).time_left() is None
    with pytest.raises(TimeoutError):
        until.time_left()


def test_the_event_loop_may_cancel(tmp_path: Path) -> None:
    """A coroutine that is cancelled takes its task with it."""

    async def scene(pair: Workers) -> int:
        task = asyncio.wrap_future(pair.submit(worker_tasks.never_end, str(tmp_path / "mark")))
        process = await asyncio.to_thread(marked, tmp_path / "mark")
        task.cancel()
        return process

    with Workers(1) as one:
        process = asyncio.run(scene(one))
        eventually(lambda: not alive(process))


def test_shutting_down_leaves_no_process(tmp_path: Path) -> None:
    """What runs is ended, what waits is cancelled, and nothing more is taken."""
    one = Workers(1)
    running = one.submit(worker_tasks.never_end, str(tmp_path / "mark"))
    process = marked(tmp_path / "mark")
    waiting = one.submit(worker_tasks.double, 1)

    one.shutdown(cancel_futures=True)

    assert running.cancelled()
    assert waiting.cancelled()
    assert not alive(process)
    with pytest.raises(RuntimeError, match="shut down"):
        one.submit(worker_tasks.double, 1)


@pytest.mark.parametrize("how", [signal.SIGTERM, signal.SIGKILL])
def test_workers_end_with_their_parent(tmp_path: Path, how: signal.Signals) -> None:
    """However it ends."""
    marks = [tmp_path / "one", tmp_path / "two"]
    command = [sys.executable, "-c", HOLDER, *map(str, marks)]
    with subprocess.Popen(command) as holder:  # noqa: S603 - ourselves
        processes = [marked(mark) for mark in marks]
        holder.send_signal(how)

    eventually(lambda: not any(alive(process) for process in processes))


def test_without_processes_tasks_are_done_on_a_thread() -> None:
    """For a notebook that embeds the service; functions need no name then."""
    with Workers(0) as here:
        assert here.submit(os.getpid).result(PATIENCE_S) == os.getpid()
        assert here.submit(lambda: 7).result(PATIENCE_S) == 7
        with pytest.raises(ZeroDivisionError):
            here.submit(lambda: 1 // 0).result(PATIENCE_S)


def test_as_many_processes_as_cores() -> None:
    """Unless told otherwise."""
    assert Workers().processes == usable_cores() >= 1
