"""The margins of an answer as aligned plain text, for a terminal or a notebook."""

from math import floor, log10

from loopmargin_wire.answer import Answer, Margin

HEADINGS = ("criterion", "demand", "capacity", "surplus", "unit", "verdict", "chance")
TO_THE_LEFT = frozenset({"criterion", "unit", "verdict"})
GAP = "  "
SIGNIFICANT_DIGITS = 4
MOST_DECIMALS = 6
# Three decimals of a chance; beyond them it is neither certain nor impossible.
NEARLY = 0.0005


def margins_table(answer: Answer) -> str:
    """Lay out the margins of an answer, one line each, under a line of headings.

    The three numbers of a line share their decimals, four significant digits of the
    largest. When the calculation found no state, its reason and advice follow.
    """
    rows = [HEADINGS, *(row(margin) for margin in answer.margins)]
    widths = [max(map(len, column)) for column in zip(*rows, strict=True)]
    rows.insert(1, tuple("-" * width for width in widths))
    return "\n".join([*(line(cells, widths) for cells in rows), *remarks(answer)])


def row(margin: Margin) -> tuple[str, ...]:
    """Write one margin as text."""
    numbers = (margin.demand, margin.capacity, margin.surplus)
    decimals = shared_decimals(max(map(abs, numbers)))
    return (
        printable(margin.criterion),
        *(f"{number:.{decimals}f}" for number in numbers),
        printable(margin.unit),
        margin.verdict,
        chance(margin.chance),
    )


def shared_decimals(largest: float) -> int:
    """Decimals that give the largest number its significant digits."""
    rounded = float(f"{largest:.{SIGNIFICANT_DIGITS}g}")
    if rounded == 0.0:
        return 0
    decimals = SIGNIFICANT_DIGITS - 1 - floor(log10(rounded))
    return min(max(decimals, 0), MOST_DECIMALS)


def chance(share: float | None) -> str:
    """Write a chance with three decimals, never as certain when it is not."""
    if share is None:
        return "-"
    if NEARLY <= share < 1.0 - NEARLY or share in {0.0, 1.0}:
        return f"{share:.3f}"
    return ">0.999" if share > NEARLY else "<0.001"


def line(cells: tuple[str, ...], widths: list[int]) -> str:
    """Align the cells of one line: words to the left, numbers to the right."""
    return GAP.join(
        cell.ljust(width) if heading in TO_THE_LEFT else cell.rjust(width)
        for heading, cell, width in zip(HEADINGS, cells, widths, strict=True)
    )


def remarks(answer: Answer) -> list[str]:
    """Say why there is no state, and what may help."""
    if answer.outcome.status == "solved":
        return []
    said = [f"{answer.outcome.status}: {answer.outcome.reason}", *answer.outcome.advice]
    return ["", *(printable(sentence) for sentence in said)]


def printable(text: str) -> str:
    """Replace what would move the cursor or change the terminal."""
    return "".join(mark if mark.isprintable() else "?" for mark in text)
