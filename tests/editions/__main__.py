"""Print what changed in numbers between two editions, or since the recorded one.

python -m tests.editions                     the newest record against the code
python -m tests.editions 2026.1 2026.2       two records
python -m tests.editions --record            record the code as its edition
"""

import argparse
import sys

from loopmargin_service.questions.edition import EDITION
from tests.editions.compare import Change, Summary, changes, missing, summaries
from tests.editions.record import Record, answers, editions, read, write

MOST_ROWS, MOST_GONE = 200, 20


def main() -> int:
    """Compare, or record."""
    parser = argparse.ArgumentParser(prog="python -m tests.editions", description=__doc__)
    parser.add_argument("editions", nargs="*", help="none, one against the code, or two")
    parser.add_argument("--record", action="store_true", help="record the code as its edition")
    given = parser.parse_args()
    if given.record:
        write(EDITION, asked())
        say(f"recorded as {EDITION}")
        return 0
    known = editions()
    old = given.editions[0] if given.editions else known[-1]
    new = given.editions[1] if len(given.editions) > 1 else "the code"
    after = read(new) if new in known else asked()
    report(old, new, read(old), after)
    return 0


def asked() -> Record:
    """Ask the whole corpus, showing how far it is."""
    record: Record = {}
    for name, found in answers():
        record[name] = found
        sys.stderr.write(f"\r{len(record)} questions asked")
    sys.stderr.write("\n")
    return record


def report(old: str, new: str, before: Record, after: Record) -> None:
    """Print the changes, fit for the changelog."""
    found = list(changes(before, after))
    gone = missing(before, after)
    say(f"from {old} to {new}: {len(before.keys() & after.keys())} questions in both, ")
    say(f"{len(found)} numbers or words changed, {len(gone)} no longer there")
    rows = summaries(found)
    if rows:
        say("\nlargest change of each field (relative, absolute; before -> after; how many)\n")
    for row in rows[:MOST_ROWS]:
        say(line(row))
    if len(rows) > MOST_ROWS:
        say(f"  and {len(rows) - MOST_ROWS} fields more")
    turned = [change for change in found if change.turned]
    if turned:
        say("\nwords that changed\n")
    for change in turned:
        say(f"- {change.question}{change.pointer}: {change.before} -> {change.after}")
    for one in gone[:MOST_GONE]:
        say(f"  no longer there: {one}")


def line(row: Summary) -> str:
    """Write one row."""
    at: Change = row.largest
    sizes = f"{at.relative:.2g}, {at.absolute:.3g}"
    return f"- {row.route}{row.field}: {sizes}; {at.before} -> {at.after}; {row.count}"


def say(text: str) -> None:
    """Print a line."""
    sys.stdout.write(text + "\n")


sys.exit(main())
