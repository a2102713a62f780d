"""Names of criteria: parts of one name are told apart by their place."""

from collections import Counter
from collections.abc import Sequence

# A name with its place still fits into every criterion on the wire.
LONGEST = 40


def told_apart(names: Sequence[str]) -> list[str]:
    """Put the place in the list, from 1, behind each name that another one equals.

    No name on the wire has a bracket, so none that was given can equal one made here.
    """
    count = Counter(names)
    return [
        f"{name[:LONGEST]} ({row})" if count[name] > 1 else name
        for row, name in enumerate(names, start=1)
    ]
