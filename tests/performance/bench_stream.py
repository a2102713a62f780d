"""Sweeps on two worker processes against one, and as streams over HTTP: memory, callers beside.

First the worker processes alone are measured, as the executor that chunks are given to. A stream
is read by the client, in msgpack, on the same machine, so that listener and reader take from
the two workers what they need of the two cores: its ratio is told, not judged. It wants two
quiet cores.
"""

import asyncio
import contextlib
import statistics
import sys
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import psutil

import loopmargin
from loopmargin_service.http.workers import Workers
from loopmargin_service.questions import sweep, sweep_chunks
from loopmargin_wire.sweep import PackedBlock, SweepEnd, SweepQuestion
from tests.faults.service_process import ServiceProcess
from tests.faults.streamed import question
from tests.performance.open_loop import OpenLoop, Questions

EXAMPLES = Path("openapi/examples")
ROUNDS = 3
SPEED_UP = 1.8
MOST_MB = 1000.0
PER_S, ROUND_S = 25.0, 5.0
MOST_TIMES = 3.0


def main() -> int:
    """Measure, print, and fail when a target is missed."""
    sys.stdout.write(f"sweeps as streams; load of the machine {psutil.getloadavg()[0]:.1f}\n")
    times, streamed = _speed_up(), _streams_speed_up()
    peak_mb, rate = _largest()
    alone_s, beside_s = _beside()
    targets = [
        (
            (
                f"two worker processes: {times:.2f} times the rate of one (least {SPEED_UP:g}); "
                f"as a stream that is read beside them {streamed:.2f} times"
            ),
            times >= SPEED_UP,
        ),
        (
            (
                f"a million cases: service {peak_mb:.0f} MB at the most (most {MOST_MB:.0f}), "
                f"{rate:.0f} cases a second"
            ),
            peak_mb < MOST_MB,
        ),
        (
            (
                f"pump-head beside a sweep: 99 % within {1e3 * beside_s:.1f} ms, "
                f"{beside_s / alone_s:.2f} times that alone (most {MOST_TIMES:g})"
            ),
            beside_s <= MOST_TIMES * alone_s,
        ),
    ]
    for text, met in targets:
        sys.stdout.write(f"{'meets' if met else 'FAILS'}  {text}\n")
    return 0 if all(met for _, met in targets) else 1


def _speed_up() -> float:
    """Give the median rate of two processes over that of one, as an executor, in turn."""
    with Workers(1) as one, Workers(2) as two:
        # Processes start with their first tasks; the machine of each round is new to them.
        for workers in (one, two):
            _executed(workers, question(100, 250))
        rounds = [
            (_executed(one, question(600, 600 + n)), _executed(two, question(600, 600 + n)))
            for n in range(ROUNDS)
        ]
    return _median_ratio(rounds)


def _executed(workers: Workers, asked: SweepQuestion) -> float:
    """Have all chunks of a sweep solved; give cases a second."""
    executor, same = workers.behind(), sweep.same_cases(asked)
    began = time.perf_counter()
    tasks = [executor.submit(sweep.chunk, same, *each) for each in sweep_chunks.ranges(same)]
    solved = sum(len(sweep.opened(task.result()).status) for task in tasks)
    return solved / (time.perf_counter() - began)


def _streams_speed_up() -> float:
    """Give the median rate of a stream from two workers over that from one, in turn."""
    with (
        ServiceProcess(worker_processes="1", log_level="warning") as one,
        ServiceProcess(worker_processes="2", log_level="warning") as two,
    ):
        # Each round asks what no round has asked, because chunks are stored.
        for service in (one, two):
            _rate(service.url, question(100, 250))
        rounds = [
            (_rate(one.url, question(600, 600 + n)), _rate(two.url, question(600, 600 + n)))
            for n in range(ROUNDS)
        ]
    return _median_ratio(rounds)


def _median_ratio(rounds: list[tuple[float, float]]) -> float:
    """Give the median of the second rates over that of the first ones."""
    one, two = (statistics.median(rates) for rates in zip(*rounds, strict=True))
    return two / one


def _rate(url: str, asked: SweepQuestion) -> float:
    """Read a whole stream; give cases a second."""
    began = time.perf_counter()
    with loopmargin.Client(url, encoding="msgpack", timeout=60.0) as client:
        for record in client.sweep_stream(asked):
            if isinstance(record, SweepEnd):
                return record.cases_sent / (time.perf_counter() - began)
    raise RuntimeError("a stream has an end")


def _largest() -> tuple[float, float]:
    """Give the most memory of the service process over a million cases, and its rate. [MB, 1/s]"""
    with ServiceProcess(log_level="warning") as service:
        rate = _rate(service.url, question(1000, 1000))
        status = Path(f"/proc/{service.process.pid}/status").read_text(encoding="utf-8")
    (line,) = (line for line in status.splitlines() if line.startswith("VmHWM"))
    return int(line.split()[1]) / 1024.0, rate


def _beside() -> tuple[float, float]:
    """Give the time within which 99 % of short questions came, alone and beside a sweep. [s]"""
    with ServiceProcess(log_level="warning") as service:
        body = (EXAMPLES / "pump-head.question.json").read_bytes()
        asking = OpenLoop(Questions(service.url, "/v1/pump-head", body, "coolant_c", 30.0))
        return asyncio.run(_measured(asking, service.url))


async def _measured(asking: OpenLoop, url: str) -> tuple[float, float]:
    await asking.saturate(2, 1.0)
    alone, beside = [], []
    for number in range(ROUNDS):
        alone.append((await asking.run(PER_S, ROUND_S)).took(200, 0.99))
        with _sweeping(url, question(999 - number, 1000)):
            await asyncio.sleep(1.0)
            beside.append((await asking.run(PER_S, ROUND_S)).took(200, 0.99))
    await asking.close()
    return statistics.median(alone), statistics.median(beside)


@contextlib.contextmanager
def _sweeping(url: str, asked: SweepQuestion) -> Iterator[None]:
    """Let a sweep be read within a block, and hang up at its end."""
    left = threading.Event()

    def read() -> None:
        with (
            loopmargin.Client(url, encoding="msgpack") as client,
            contextlib.closing(client.sweep_stream(asked)) as stream,
        ):
            for record in stream:
                if left.is_set() and isinstance(record, PackedBlock):
                    return

    reading = threading.Thread(target=read)
    reading.start()
    try:
        yield
    finally:
        left.set()
        reading.join()


if __name__ == "__main__":
    sys.exit(main())
