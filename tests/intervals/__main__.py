"""`make intervals`: do the stated intervals hold the truth as often as they say?"""

import argparse
import sys

from tests.intervals.counting import Band, Count, band, counted

WIDTH = 28


def shown(value: int, allowed: Band) -> tuple[str, bool]:
    """Print a count with its band, and say whether it is inside."""
    good = allowed.holds(value)
    return f"{value:5d} in {allowed.low:4d}..{allowed.high:<4d}{' ' if good else '!'}", good


def row(name: str, confidence: float, count: Count) -> bool:
    """Print one line of the table, and say whether all three counts are inside their bands."""
    tail = band(count.machines, 0.5 * (1.0 - confidence))
    cells = [
        shown(count.inside, band(count.machines, confidence)),
        shown(count.below, tail),
        shown(count.above, tail),
    ]
    texts = "  ".join(text for text, _ in cells)
    sys.stdout.write(f"{name:{WIDTH}} {confidence:5.0%}  {texts}\n")
    return all(good for _, good in cells)


def main() -> int:
    """Count, print, and fail when a count is outside what chance allows."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--machines", type=int, default=1000)
    parser.add_argument("--draws", type=int, default=400)
    asked = parser.parse_args()

    def told(done: int) -> None:
        if done % 25 == 0:
            sys.stderr.write(f"\r{done} of {asked.machines} machines ")
            sys.stderr.flush()

    counts = counted(asked.machines, asked.draws, told)
    sys.stderr.write("\n")
    sys.stdout.write(f"{'quantity':{WIDTH}} {'asked':>5}  {'truth inside':22} {'below':22} above\n")
    good = [row(name, confidence, count) for (name, confidence), count in sorted(counts.items())]
    sys.stdout.write(f"{sum(good)} of {len(good)} rows inside what chance allows\n")
    return 0 if all(good) else 1


if __name__ == "__main__":
    sys.exit(main())
