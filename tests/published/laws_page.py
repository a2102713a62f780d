"""The page of laws: made from docstrings and from the rows that the tests note as they run."""

import inspect
import re
import sys
from collections.abc import Iterable, Iterator, Sequence
from difflib import unified_diff
from pathlib import Path

import pytest

from tests.laws import CONSTRUCTION, laws, public_functions
from tests.published.register import Row, register

PAGE = Path(__file__).with_name("README.md")
SHARE = re.compile(r"(\d+)% \|$", re.MULTILINE)
# The head of a difference and the numbers of its lines.
OFF = {"--", "++", "@@"}
SECTION = re.compile(r"^(\w[\w ]*)\n-{3,}$", re.MULTILINE)
HEAD = """# The laws in use, and what they were held against

Written by `make laws` from the docstrings of `service/loopmargin_service/physics` and from the
tests of this folder as they ran; a test compares. *Printed* counts values as a standard, handbook,
paper or maker prints them; the tolerance is half a unit of the last printed place unless the row
says why not. *Independent* counts values that a library, a closed form or an equation solved anew
gives. *Worst* is the largest deviation found, as a share of the tolerance; "rounding" means that
the tolerance itself is as fine as rounding. "From memory" and "no source" are said where they hold.
"""


def text(rows: Sequence[Row]) -> str:
    """Write the page for some rows."""
    known = laws()
    other = sorted({row.law for row in rows} - set(known))
    counts = {kind: sum(row.count for row in rows if row.kind == kind) for kind in KINDS}
    return "\n".join(
        [
            HEAD,
            f"{len(known)} laws, {counts['printed']} printed, {counts['independent']} independent.",
            "",
            *_summary([*sorted(known), *other], rows),
            *(line for name in sorted(known) for line in _law(name, rows)),
            "## What is no law of its own",
            "",
            "Solvers and tables have rows where something else can do the same; the rest puts laws",
            "together, and is held by the tests of `tests/unit`.",
            "",
            *(f"- `{name}`: {reason}" for name, reason in CONSTRUCTION.items()),
            "",
            *(line for name in other for line in _other(name, rows)),
        ]
    )


KINDS = ("printed", "independent")


def _summary(names: Iterable[str], rows: Sequence[Row]) -> Iterator[str]:
    yield "| law | printed | independent | worst |"
    yield "|---|---|---|---|"
    for name in names:
        own = [row for row in rows if row.law == name]
        counts = [sum(row.count for row in own if row.kind == kind) for kind in KINDS]
        yield f"| `{name}` | {counts[0]} | {counts[1]} | {_share(own)} |"
    yield ""


def _law(name: str, rows: Sequence[Row]) -> Iterator[str]:
    parts = _sections(laws()[name])
    yield f"## `{name}`"
    yield ""
    yield f"{parts['']}"
    yield ""
    if "Notes" in parts:
        yield f"- Law: {parts['Notes']}"
    yield f"- Validity: {parts['Validity']}"
    for reference in re.split(r"\.\. (?=\[\d+\])", parts.get("References", ""))[1:]:
        yield f"- {reference.strip()}"
    yield ""
    yield from _rows(name, rows)


def _other(name: str, rows: Sequence[Row]) -> Iterator[str]:
    yield f"## `{name}`"
    yield ""
    function = public_functions().get(name)
    yield _sections(function)[""] if function else "A table."
    yield ""
    yield from _rows(name, rows)


def _rows(name: str, rows: Sequence[Row]) -> Iterator[str]:
    yield "| held against | kind | values | worst |"
    yield "|---|---|---|---|"
    own = [row for row in rows if row.law == name]
    for where, kind in sorted({(row.where, row.kind) for row in own}):
        same = [row for row in own if (row.where, row.kind) == (where, kind)]
        count = sum(row.count for row in same)
        yield f"| {where.replace('|', '/')} | {kind} | {count} | {_share(same)} |"
    yield ""


def _share(rows: Sequence[Row]) -> str:
    """Give the largest deviation in whole percent of the tolerance."""
    if all(row.worst is None for row in rows):
        return "rounding"
    return f"{max(row.worst for row in rows if row.worst is not None):.0%}"


def _sections(function: object) -> dict[str, str]:
    """Part a docstring into sections of one line each, the summary under an empty name."""
    pieces = SECTION.split(inspect.getdoc(function) or "")
    parted = {"": pieces[0], **dict(zip(pieces[1::2], pieces[2::2], strict=True))}
    plain = {name: re.sub(r"\[(\d+)\]_", r"[\1]", part) for name, part in parted.items()}
    return {name: " ".join(part.split()) for name, part in plain.items()}


def differences(written: str, made: str) -> list[str]:
    """Name the lines in which two pages differ by more than a point of a share."""
    plain = [SHARE.sub("", page).splitlines() for page in (written, made)]
    unlike = [line for line in unified_diff(*plain, lineterm="", n=0) if line[:2] not in OFF]
    if unlike:
        return unlike
    pairs = zip(written.splitlines(), made.splitlines(), strict=True)
    return [f"{old} is now {new}" for old, new in pairs if abs(_points(old) - _points(new)) > 1]


def _points(line: str) -> int:
    found = SHARE.search(line)
    return int(found[1]) if found else 0


def main() -> None:
    """Run every published test and write the page, or with --check compare it."""
    arguments = ["-q", "--no-header", "-p", "no:cacheprovider", str(PAGE.parent)]
    skipped = ["--deselect", "tests/published/test_laws_page.py"]
    if pytest.main([*arguments, *skipped]) != 0:
        sys.exit("a published test fails")
    made = text(register.rows)
    if "--check" in sys.argv:
        sys.exit("\n".join(differences(PAGE.read_text(), made)) or 0)
    PAGE.write_text(made)


if __name__ == "__main__":
    main()
