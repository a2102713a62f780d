"""More questions than can be answered: what is still answered, how late, and how soon it is over.

A replica is meant to have a core more than workers, so that refusing does not slow down answering.
So it is measured first: the workers have one core, the process that listens has another, which it
shares with the callers. Then all of the service has one core and the callers the other. They ask
in an open loop, at multiples of what sixteen callers get who wait for each answer.

What is kept of the best is told by answers a second, where workers have a core; on one core by
answers for each second of processor time, which is the rate of a replica with that core for itself:
others may use the machine meanwhile. Answers and refusals are counted while the load lasts and has
lasted for a moment, without those that are still waiting when it ends.
"""

import asyncio
import os
import sys
import tempfile
import time
from pathlib import Path
from typing import NamedTuple

import psutil

from tests.faults.service_process import ServiceProcess
from tests.performance.open_loop import TICK_S, Heard, OpenLoop, Questions

EXAMPLES = Path("openapi/examples")
SERVICE_CORE = 0
CALLERS = 16
WARM_S, CAPACITY_S, LOAD_S, CALM_S = 2.0, 3.0, 5.0, 8.0
# From when on a load is counted, so that its queue is full. [s]
SETTLED_S = 1.5
LOADS = (0.5, 1.0, 2.0, 4.0, 10.0)

DEADLINE_S = 30.0
REFUSED_WITHIN_S = 0.010
RECOVERED_WITHIN_S = 5.0
# Back to usual is within so many times of it, in each window of this length. [s]
LATE, WINDOW_S = 3.0, 0.5


class Kind(NamedTuple):
    """A kind of question, the field that makes each one another, and the share to be kept.

    `apart` tells that workers have a core for themselves. On one core, refusing takes time from
    answering: nine refusals of a tenth of a millisecond or two for each answer, which is less of
    an answer that costs more.
    """

    name: str
    field: str
    first: float
    apart: bool
    least_share: float

    @property
    def told(self) -> str:
        """Say what is asked of whom."""
        return f"{self.name}, {'workers apart' if self.apart else 'all on one core'}"


KINDS = (
    Kind("steady-state", "rest_w", 40.0, apart=True, least_share=0.9),
    Kind("steady-state", "rest_w", 40.0, apart=False, least_share=0.85),
    Kind("pump-head", "coolant_c", 30.0, apart=False, least_share=0.75),
)


class Load(NamedTuple):
    """What was heard at one load, answers a second, and the refusals once it has lasted.

    The seconds are those of the clock, or of processor time.
    """

    heard: Heard
    per_s: float
    refused: Heard


class Run(NamedTuple):
    """Each load, and what was heard in the calm after the last."""

    loads: tuple[Load, ...]
    calm: Heard


def main() -> int:
    """Measure, print, and fail when a target is missed."""
    results = [_report(kind, measured(kind)) for kind in KINDS]
    return 0 if all(results) else 1


def measured(kind: Kind) -> Run:
    """Load one service."""
    before = os.sched_getaffinity(0)
    # What is started now inherits the core; a service with a core to spare has to see it.
    os.sched_setaffinity(0, before if kind.apart else {SERVICE_CORE})
    with (
        tempfile.NamedTemporaryFile() as log,
        ServiceProcess(log_level="warning", log_to=Path(log.name), worker_processes="1") as service,
    ):
        os.sched_setaffinity(0, {max(before)})
        try:
            return asyncio.run(_run(kind, service))
        finally:
            os.sched_setaffinity(0, before)


async def _run(kind: Kind, service: ServiceProcess) -> Run:
    body = (EXAMPLES / f"{kind.name}.question.json").read_bytes()
    load = OpenLoop(Questions(service.url, f"/v1/{kind.name}", body, kind.field, kind.first))
    await load.saturate(CALLERS, WARM_S)
    if kind.apart:
        _set_apart(service)
    capacity = await load.saturate(CALLERS, CAPACITY_S)
    sys.stdout.write(f"\n{kind.told}: {capacity:.0f} a second to {CALLERS} callers who wait\n")
    sys.stdout.write(
        "load    asked  answered    p50    p99  refused    p50    p99  not sent   answered in 1 s\n"
        "            /s        /s     ms     ms       /s     ms     ms   or lost  "
        f"{'' if kind.apart else 'of processor time'}\n"
    )
    loads = []
    for times in LOADS:
        loads.append(await _loaded(load, times * capacity, None if kind.apart else service))
        _print(f"{times:4g}", loads[-1].heard, LOAD_S, f"{loads[-1].per_s:15.0f}")
    calm = await load.run(LOADS[0] * capacity, CALM_S)
    _print("calm", calm, CALM_S)
    await load.close()
    return Run(tuple(loads), calm)


def _set_apart(service: ServiceProcess) -> None:
    """Give the process that listens the core of the callers, and leave the workers another."""
    (listening,) = os.sched_getaffinity(0)
    root = psutil.Process(service.process.pid)
    for thread in root.threads():
        os.sched_setaffinity(thread.id, {listening})
    for child in root.children(recursive=True):
        os.sched_setaffinity(child.pid, {SERVICE_CORE})


async def _loaded(load: OpenLoop, per_s: float, service: ServiceProcess | None) -> Load:
    """Put one load on the service; count by its processor time, or by the clock without it."""
    running = asyncio.create_task(load.run(per_s, LOAD_S))
    await asyncio.sleep(SETTLED_S)
    from_s, before_s = time.perf_counter(), _processor_s(service)
    await asyncio.sleep(LOAD_S - SETTLED_S - TICK_S)
    until_s, after_s = time.perf_counter(), _processor_s(service)
    heard = await running
    per_s = heard.answered(from_s, until_s) / (after_s - before_s)
    return Load(heard, per_s, heard.due_within(from_s, until_s))


def _processor_s(service: ServiceProcess | None) -> float:
    """Read the processor time of the service with everything it has started, or the clock. [s]"""
    if service is None:
        return time.perf_counter()
    root = psutil.Process(service.process.pid)
    times = [one.cpu_times() for one in (root, *root.children(recursive=True))]
    return float(sum(one.user + one.system for one in times))


def _print(load: str, heard: Heard, seconds: float, last: str = "") -> None:
    asked = len(heard.status) + heard.unsent + heard.lost
    columns = [asked / seconds]
    for status in (200, 503):
        columns += [heard.count(status) / seconds]
        columns += [1e3 * heard.took(status, share) for share in (0.5, 0.99)]
    numbers = "{:9.0f}{:10.0f}{:7.1f}{:7.1f}{:9.0f}{:7.1f}{:7.1f}".format(*columns)
    sys.stdout.write(f"{load}{numbers}{heard.unsent + heard.lost:10d}{last}\n")
    sys.stdout.flush()


def _report(kind: Kind, run: Run) -> bool:
    """Compare one run with the targets."""
    every = [load.heard for load in run.loads]
    share = run.loads[-1].per_s / max(load.per_s for load in run.loads)
    slowest_s = max(heard.took(200, 0.99) for heard in every)
    of_100 = 99 if kind.apart else 50
    refused_s = max(load.refused.took(503, of_100 / 100) for load in run.loads)
    recovered_s = recovery_s(run)
    other = sum(
        len(heard.status) - heard.count(200) - heard.count(503) + heard.lost for heard in every
    )
    kept = f"at {LOADS[-1]:g} times {share:.2f} of the best (least {kind.least_share})"
    targets = [
        (
            f"{kind.told}: {kept}",
            share >= kind.least_share,
        ),
        (f"99 % of answers within {slowest_s:.2f} s (most {DEADLINE_S:g})", slowest_s < DEADLINE_S),
        (
            f"{of_100} % of the refusals within {refused_s:.4f} s (most {REFUSED_WITHIN_S:g})",
            refused_s < REFUSED_WITHIN_S,
        ),
        (
            f"as usual {recovered_s:.1f} s after the load fell (most {RECOVERED_WITHIN_S:g})",
            recovered_s < RECOVERED_WITHIN_S,
        ),
        (f"neither answered nor refused: {other} (none)", other == 0),
    ]
    for text, met in targets:
        sys.stdout.write(f"{'meets' if met else 'FAILS'}  {text}\n")
    return all(met for _, met in targets)


def recovery_s(run: Run) -> float:
    """Time from the fall of the load to the last window that was not as usual. [s]

    In a usual window everything is answered, and half of it within a few times the usual.
    """
    usual_s, began_s = LATE * run.loads[0].heard.took(200, 0.5), min(run.calm.due_s)
    recovered_s = 0.0
    for number in range(int(CALM_S / WINDOW_S)):
        start_s = began_s + number * WINDOW_S
        heard = run.calm.due_within(start_s, start_s + WINDOW_S)
        if heard.count(200) < len(heard.status) or heard.took(200, 0.5) > usual_s:
            recovered_s = (number + 1) * WINDOW_S
    return recovered_s


if __name__ == "__main__":
    sys.exit(main())
