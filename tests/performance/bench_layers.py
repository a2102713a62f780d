"""What the outer layers cost a stored answer: metrics, the log and the names of requests.

The same service runs with all layers and from Repeats on, which gives the stored answer; in
processor time, because others may use the machine. Keys and quotas are bench_guards.
"""

import os
import statistics
import subprocess
import sys
from contextlib import ExitStack
from typing import Self

from tests.performance.bench_guards import spent_each

ROUNDS = 7
WAYS = {"without": "Repeats", "names": "Identity", "names, metrics and log": "Watch"}
# At least three quarters of the rate without layers, as the requirement has it.
MOST = 1.33


class LayersProcess:
    """The service from one layer on, as a process."""

    def __init__(self, outermost: str) -> None:
        self._command = [sys.executable, "-m", "tests.performance.layers_server", outermost]

    def __enter__(self) -> Self:
        """Start it and wait until it says where it listens."""
        self.process = subprocess.Popen(self._command, stdout=subprocess.PIPE, text=True)  # noqa: S603 - ourselves
        assert self.process.stdout is not None
        self.url = self.process.stdout.readline().strip()
        return self

    def __exit__(self, *_: object) -> None:
        """Stop it."""
        self.process.terminate()
        self.process.wait()
        assert self.process.stdout is not None
        self.process.stdout.close()


def main() -> int:
    """Measure, print, and fail when the target is missed."""
    times = _times()
    bare = times.pop("without")
    sys.stdout.write(f"       a stored answer without layers: {1e6 * bare:.0f} us of processor\n")
    for name, spent in times.items():
        sys.stdout.write(f"       {name}: {spent / bare:.2f} times that\n")
    met = max(times.values()) / bare <= MOST
    sys.stdout.write(f"{'meets' if met else 'FAILS'}  layers without keys (most {MOST})\n")
    return 0 if met else 1


def _times() -> dict[str, float]:
    """Give the processor time of an answer for each way, in turn and in rounds."""
    cores = os.sched_getaffinity(0)
    with ExitStack() as stack:
        os.sched_setaffinity(0, {min(cores)})
        running = {name: stack.enter_context(LayersProcess(row)) for name, row in WAYS.items()}
        os.sched_setaffinity(0, cores)
        spent: dict[str, list[float]] = {name: [] for name in running}
        for _ in range(ROUNDS):
            for name, process in running.items():
                spent[name].append(spent_each(process, {}, max(cores)))
    return {name: statistics.median(found) for name, found in spent.items()}


if __name__ == "__main__":
    sys.exit(main())
