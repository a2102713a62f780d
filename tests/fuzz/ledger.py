"""What the long contract has done: kept on disk, so that it goes on where it was stopped.

A line of the ledger is one part: so many random cases of one operation from one seed. It counts
for the very code that it ran with. Several processes may work at once; each part is done by one.
"""

import fcntl
import hashlib
import os
import time
from collections import Counter
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from functools import cache
from pathlib import Path
from typing import Self

import msgspec

PLACE = Path("build/fuzz")
SOURCES = ("service", "sdk", "tests/fuzz", "openapi")


class Part(msgspec.Struct, frozen=True):
    """Cases from one seed that are drawn in one go."""

    seed: int
    number: int
    operation: str
    examples: int

    def __str__(self) -> str:
        """Name the part, in pytest and in the ledger."""
        name = self.operation.replace(" ", "").replace("/", "-")
        return f"seed{self.seed}-{self.number}-{name}-{self.examples}"


Counts = dict[str, int]


class Tally(msgspec.Struct):
    """What became of a part."""

    code: str
    part: Part
    cases: int = 0
    responses: Counts = msgspec.field(default_factory=dict)
    checks: Counts = msgspec.field(default_factory=dict)
    took_s: float = 0.0
    # Processor time of the request that took the most, with its checks.
    longest_s: float = 0.0

    def response(self, way: str, status: int) -> None:
        """Count a response."""
        self.responses[f"{way} {status}"] = self.responses.get(f"{way} {status}", 0) + 1

    def checked(self, names: Iterable[str]) -> None:
        """Count checks that ran."""
        self.checks = dict(Counter(self.checks) + Counter(names))

    def __add__(self, other: Self) -> Self:
        """Take two together."""
        return type(self)(
            self.code,
            self.part,
            self.cases + other.cases,
            dict(Counter(self.responses) + Counter(other.responses)),
            dict(Counter(self.checks) + Counter(other.checks)),
            self.took_s + other.took_s,
            max(self.longest_s, other.longest_s),
        )


@cache
def code() -> str:
    """Give a digest of everything that a result depends on."""
    digest = hashlib.sha256()
    for top in SOURCES:
        for path in sorted(Path(top).rglob("*")):
            if path.suffix in {".py", ".json"}:
                digest.update(path.as_posix().encode() + b"\0" + path.read_bytes())
    return digest.hexdigest()[:12]


def place() -> Path:
    """Give the directory of this code's ledger."""
    path = PLACE / code()
    path.mkdir(parents=True, exist_ok=True)
    return path


def done() -> list[Tally]:
    """Read what was done with this code."""
    path = place() / "ledger.jsonl"
    lines = path.read_bytes().splitlines() if path.exists() else []
    return [msgspec.json.decode(line, type=Tally) for line in lines]


@contextmanager
def owed(part: Part) -> Iterator[Tally | None]:
    """Hand out a tally if the part is still to be done, and keep it if all goes well."""
    with (place() / f"{part}.lock").open("w") as lock:
        try:
            fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            yield None
            return
        if any(tally.part == part for tally in done()):
            yield None
            return
        tally, began_s = Tally(code(), part), time.monotonic()
        yield tally
        tally.took_s = time.monotonic() - began_s
        keep(tally)
    Path(lock.name).unlink()


def keep(tally: Tally) -> None:
    """Write one line in one call, so that lines of several processes stay whole."""
    descriptor = os.open(place() / "ledger.jsonl", os.O_WRONLY | os.O_APPEND | os.O_CREAT)
    os.write(descriptor, msgspec.json.encode(tally) + b"\n")
    os.close(descriptor)


def summary() -> str:
    """Say for each operation what it was asked, in which ways, and which checks ran."""
    sums: dict[str, Tally] = {}
    for tally in done():
        name = tally.part.operation
        sums[name] = sums[name] + tally if name in sums else tally
    return "\n".join(line for name, tally in sums.items() for line in told(name, tally))


def told(name: str, tally: Tally) -> list[str]:
    """Write the lines of one operation."""
    counts = [
        " ".join(f"{key}: {count}," for key, count in sorted(counted.items()))
        for counted in (tally.responses, tally.checks)
    ]
    head = f"{name}: {tally.cases} cases in {tally.took_s:.0f} s, longest {tally.longest_s:.1f} s"
    return [head, f"    {counts[0].rstrip(',')}", f"    checks: {counts[1].rstrip(',')}"]
