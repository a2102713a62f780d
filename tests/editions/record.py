"""What the corpus is answered with: numbers and words by pointer, one file an edition."""

import json
from collections.abc import Iterator, Sequence
from pathlib import Path

import msgspec

from loopmargin_service.http.routes import ROUTES
from tests.editions.corpus import Entry, corpus

RECORDED = Path(__file__).parent / "recorded"
# What tells the members of a list apart, where it does.
NAMES = ("criterion", "quantity", "name")
# How a solution was reached, and texts, are no numbers of an answer; the rest is kept.
LEFT_OUT = frozenset(
    {"question", "basis", "notes", "cautions", "solve", "reason", "advice", "edition", "seed"}
    | {"budget", "causes", "inputs", "tried", "digits", "iterations", "last_movement", "residual"}
    | {"unit", "kind", *NAMES}
)
# Of a long list these places are kept.
LONG = 12
Leaf = float | str | bool | None
Record = dict[str, dict[str, Leaf]]


def answers(entries: Iterator[Entry] | None = None) -> Iterator[tuple[str, dict[str, Leaf]]]:
    """Ask every question of the corpus of the code as it stands."""
    routes = {row.name: row for row in ROUTES}
    for entry in entries or corpus():
        row = routes[entry.route]
        question = msgspec.convert(entry.body, row.question)
        answer = msgspec.to_builtins(row.compute(question))
        yield entry.name, dict(leaves(answer, ""))


def leaves(value: object, pointer: str) -> Iterator[tuple[str, Leaf]]:
    """Walk the numbers and words of an answer with their pointers."""
    if isinstance(value, dict):
        for name, member in value.items():
            if name not in LEFT_OUT and value.get("name") not in LEFT_OUT:
                yield from leaves(member, f"{pointer}/{name}")
    elif isinstance(value, list | tuple):
        steps = _steps(value)
        for number in _kept(len(value)):
            yield from leaves(value[number], f"{pointer}/{steps[number]}")
    elif value is None or isinstance(value, float | int | str):
        yield pointer, value


def _steps(members: Sequence[object]) -> list[str]:
    """Call the members of a list by their names, if every one has its own, else by number."""
    names = [next((m[n] for n in NAMES if n in m), "") for m in members if isinstance(m, dict)]
    apart = len(names) == len(members) == len(set(names)) and all(names)
    return [f"({name})" for name in names] if apart else [str(n) for n in range(len(members))]


def _kept(count: int) -> list[int]:
    """Choose places of a list: all of a short one, and some of a long one."""
    if count <= LONG:
        return list(range(count))
    return sorted({round(step * (count - 1) / (LONG - 1)) for step in range(LONG)})


def path(edition: str) -> Path:
    """Give the file of an edition."""
    return RECORDED / f"{edition}.json"


def editions() -> list[str]:
    """List the editions that are recorded, the oldest first."""
    return sorted(file.stem for file in RECORDED.glob("*.json"))


def read(edition: str) -> Record:
    """Read what an edition answered."""
    record: Record = json.loads(path(edition).read_text())
    return record


def write(edition: str, record: Record) -> None:
    """Record what an edition answers, a line for each number."""
    RECORDED.mkdir(exist_ok=True)
    path(edition).write_text(json.dumps(record, indent=0, sort_keys=True) + "\n")
