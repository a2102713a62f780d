"""What changed in numbers between two records of the corpus."""

import re
from collections.abc import Iterator
from typing import NamedTuple

from tests.editions.record import Leaf, Record

# Numbers this near are the same: processors round differently.
RELATIVE = 1e-9
ABSOLUTE = 1e-9
NUMBERED = re.compile(r"/(\d+|\([^/]*\))(?=/|$)")


class Change(NamedTuple):
    """One number or word that is another now."""

    question: str
    pointer: str
    before: Leaf
    after: Leaf

    @property
    def absolute(self) -> float:
        """Give the difference; zero of words."""
        before, after = number(self.before), number(self.after)
        return 0.0 if before is None or after is None else abs(after - before)

    @property
    def relative(self) -> float:
        """Give the difference over the larger of both."""
        before, after = number(self.before), number(self.after)
        if before is None or after is None:
            return 0.0
        return self.absolute / max(abs(before), abs(after), 1e-300)

    @property
    def field(self) -> str:
        """Name the field, whichever place of a list it is in."""
        return NUMBERED.sub("", self.pointer)

    @property
    def turned(self) -> bool:
        """Tell whether a word changed, such as a verdict."""
        return isinstance(self.before, str) and isinstance(self.after, str)


class Summary(NamedTuple):
    """All changes of one field of one kind of question."""

    route: str
    field: str
    count: int
    largest: Change


def number(leaf: Leaf) -> float | None:
    """Give a number as one; words and nothing are none."""
    return None if leaf is None or isinstance(leaf, str | bool) else float(leaf)


def changes(before: Record, after: Record) -> Iterator[Change]:
    """Give what differs in what both records hold."""
    for question in sorted(before.keys() & after.keys()):
        old, new = before[question], after[question]
        for pointer in sorted(old.keys() & new.keys()):
            if not same(old[pointer], new[pointer]):
                yield Change(question, pointer, old[pointer], new[pointer])


def same(before: Leaf, after: Leaf) -> bool:
    """Tell whether two leaves say the same."""
    one, other = number(before), number(after)
    if one is None or other is None:
        return before == after
    return abs(one - other) <= ABSOLUTE + RELATIVE * max(abs(one), abs(other))


def missing(before: Record, after: Record) -> list[str]:
    """List what only the first record holds."""
    return [
        f"{question} {pointer}"
        for question in sorted(before)
        for pointer in sorted(before[question])
        if pointer not in after.get(question, {})
    ]


def summaries(found: list[Change]) -> list[Summary]:
    """Sum the changes of numbers up by kind of question and field, the largest first."""
    groups: dict[tuple[str, str], list[Change]] = {}
    for change in found:
        if not change.turned:
            route = change.question.partition(":")[0]
            groups.setdefault((route, change.field), []).append(change)
    rows = [
        Summary(route, field, len(rows), max(rows, key=lambda one: one.relative))
        for (route, field), rows in groups.items()
    ]
    return sorted(rows, key=lambda row: (row.route, -row.largest.relative))
