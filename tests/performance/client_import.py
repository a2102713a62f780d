"""How long importing the client takes, over httpx and msgspec, and what encodings cost.

Run it from the project's root: `python tests/performance/client_import.py`. It prints
medians over fresh interpreters, and bytes and times of the example questions and answers.
"""

import statistics
import subprocess
import sys
import timeit
from pathlib import Path

import msgspec

import loopmargin

EXAMPLES = Path(__file__).parents[2] / "openapi" / "examples"
RUNS = 15
REPEATS = 2000


def import_ms(modules: str) -> float:
    """Median time of an import in a fresh interpreter, in milliseconds."""
    program = (
        "import time; start = time.perf_counter()\n"
        f"import {modules}\n"
        "print(time.perf_counter() - start)"
    )
    command = [sys.executable, "-c", program]
    # The command is our own.
    taken = [float(subprocess.check_output(command)) for _ in range(RUNS)]  # noqa: S603
    return 1e3 * statistics.median(taken)


def encoding_row(name: str, kind: type[msgspec.Struct], part: str) -> str:
    """Bytes and microseconds of one example in both encodings."""
    value = msgspec.json.decode((EXAMPLES / f"{name}.{part}.json").read_bytes(), type=kind)
    cells = [f"{name} {part}".ljust(26)]
    for module in (msgspec.json, msgspec.msgpack):
        body = module.encode(value)
        seconds = timeit.timeit(lambda: module.decode(body, type=kind), number=REPEATS)  # noqa: B023 - timed at once
        cells.append(f"{len(body):7d} B {1e6 * seconds / REPEATS:7.1f} us to decode")
    return "  ".join(cells)


def main() -> None:
    """Print the tables."""
    base = import_ms("httpx, msgspec")
    whole = import_ms("httpx, msgspec, loopmargin")
    sys.stdout.write(
        f"httpx and msgspec {base:6.1f} ms\nloopmargin adds   {whole - base:6.1f} ms\n"
    )
    sys.stdout.write(f"{'':26}  {'json':>27}  {'msgpack':>27}\n")
    for route in vars(loopmargin).values():
        if isinstance(route, loopmargin.Route):
            for part, kind in (("question", route.question), ("answer", route.answer)):
                sys.stdout.write(encoding_row(route.name, kind, part) + "\n")


if __name__ == "__main__":
    main()
