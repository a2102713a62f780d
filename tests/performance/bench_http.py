"""The service against a bare handler, late answers, from import to first answer, and idle memory.

Everything is a ratio or a bound that a slow machine keeps as well: both servers run on
one core, in turn, loaded from another; rates that stand alone are printed for interest.
"""

import gc
import os
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import httpx
import uvloop

from tests.faults.service_process import ServiceProcess
from tests.performance.load import requests_per_second
from tests.performance.open_loop import OpenLoop, Repeated

QUESTION = Path("openapi/examples/pump-head.question.json")
PATH = "/v1/pump-head"
JSON = {"content-type": "application/json"}
SERVER_CORE = 0
ROUNDS = 5
ROUND_S = 2.0
STARTS = 3

STORED_RATIO = 1.0
LATE_S = 0.005
LATE_ROUNDS, LATE_ROUND_S = 5, 2.0
FIRST_ANSWER_S = 1.5
IDLE_MB = 150.0


def main() -> int:
    """Measure, print, and fail when a target is missed."""
    load_core = max(os.sched_getaffinity(0))
    with tempfile.TemporaryDirectory() as directory:
        stored, bare, late_s = _rates(Path(directory), load_core)
    ratio = stored / bare
    first_s = statistics.median(_first_answer_s() for _ in range(STARTS))
    idle_mb = _idle_mb()
    rates = f"{stored:.0f} over {bare:.0f} a second"
    targets = [
        (
            f"stored answers over a bare handler: {ratio:.2f} (least 1; {rates})",
            ratio >= STORED_RATIO,
        ),
        (
            f"99 % of stored answers at half that: {1e3 * late_s:.1f} ms (most {1e3 * LATE_S:g})",
            late_s < LATE_S,
        ),
        (
            f"start to first answer: {first_s:.2f} s (most {FIRST_ANSWER_S})",
            first_s < FIRST_ANSWER_S,
        ),
        (f"idle memory of a worker: {idle_mb:.0f} MB (most {IDLE_MB:.0f})", idle_mb < IDLE_MB),
    ]
    for text, met in targets:
        sys.stdout.write(f"{'meets' if met else 'FAILS'}  {text}\n")
    return 0 if all(met for _, met in targets) else 1


def _on_server_core() -> None:
    os.sched_setaffinity(0, {SERVER_CORE})


def _rates(directory: Path, load_core: int) -> tuple[float, float, float]:
    """Load both servers in turn; give the median rate of each, and how late the service is."""
    before = os.sched_getaffinity(0)
    # What is started now inherits the core.
    _on_server_core()
    with ServiceProcess(log_to=directory / "log") as service:
        answer = httpx.post(service.url + PATH, content=QUESTION.read_bytes(), headers=JSON)
        assert answer.status_code == 200, answer.text
        constant = directory / "answer.json"
        constant.write_bytes(answer.content)
        command = [sys.executable, "-m", "tests.performance.bare_server", str(constant)]
        with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as bare:  # noqa: S603 - ourselves
            os.sched_setaffinity(0, before)
            assert bare.stdout is not None
            urls = (service.url + PATH, bare.stdout.readline().strip() + "/bare")
            for url in urls:
                requests_per_second(url, QUESTION, 1.0, load_core)
            rounds = [
                [requests_per_second(url, QUESTION, ROUND_S, load_core) for url in urls]
                for _ in range(ROUNDS)
            ]
            bare.terminate()
        stored, slower = (statistics.median(rates) for rates in zip(*rounds, strict=True))
        os.sched_setaffinity(0, {load_core})
        late_s = uvloop.run(_late_s(service.url, QUESTION.read_bytes(), 0.5 * stored))
        os.sched_setaffinity(0, before)
    return stored, slower, late_s


async def _late_s(url: str, body: bytes, per_s: float) -> float:
    """Ask at a steady rate; give the time in which 99 of 100 answers come. [s]

    The caller collects no garbage meanwhile: its pauses would count as the service's.
    """
    load = OpenLoop(Repeated(url, PATH, body), awake=True)
    gc.disable()
    heard = [await load.run(per_s, LATE_ROUND_S) for _ in range(LATE_ROUNDS)]
    gc.enable()
    await load.close()
    return statistics.median(one.took(200, 0.99) for one in heard)


def _first_answer_s() -> float:
    """Time a fresh process from its start to its first answer."""
    start = time.perf_counter()
    with ServiceProcess() as service:
        httpx.post(service.url + PATH, content=QUESTION.read_bytes(), headers=JSON)
        return time.perf_counter() - start


def _idle_mb() -> float:
    """Read the memory of a worker that has answered once and waits."""
    with ServiceProcess() as service:
        httpx.post(service.url + PATH, content=QUESTION.read_bytes(), headers=JSON)
        status = Path(f"/proc/{service.process.pid}/status").read_text(encoding="utf-8")
    (line,) = (line for line in status.splitlines() if line.startswith("VmRSS"))
    return int(line.split()[1]) / 1024.0


if __name__ == "__main__":
    sys.exit(main())
