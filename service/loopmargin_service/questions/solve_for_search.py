"""Where to look next for the first value that holds, from the end of a range that is sought.

Between two neighbours that both fail a window may hide where they fail for different reasons:
one criterion bounds it from below and another from above. Such a gap is halved. While criteria
get better or worse in one direction inside it, the side is known on which the window lies, and
a window is found that is at least the 32 768th part of the range wide. A criterion that is best
inside the range, and fails at all values about its best one, is looked at more closely there.
At last the step that holds the boundary is halved.
"""

import math
from collections.abc import Iterator
from itertools import pairwise

from loopmargin_service.questions.solve_for_judge import Judge, Judged

# A coarse look at the whole range, closer looks at where a window may hide, then halvings of the
# step that holds the boundary.
GRID = 9
LOOKS = 12
HALVINGS = 8
MOST_TRIED = GRID + LOOKS + HALVINGS
STEPS = GRID - 1

Gap = tuple[Judged, Judged]


def grid(lowest: float, highest: float, *, whole: bool) -> list[float]:
    """Give the values of the first look, in rising order; of whole numbers at most each once."""
    step = (highest - lowest) / STEPS
    values = [lowest + number * step for number in range(STEPS)] + [highest]
    if not whole:
        return values
    low, high = math.ceil(lowest), math.floor(highest)
    return sorted({float(min(max(round(value), low), high)) for value in values})


def search(judge: Judge, values: list[float], *, whole: bool) -> list[Judged]:
    """
    Judge some values in their order, and then those between them that lead to the boundary.

    Parameters
    ----------
    judge : Judge
        What becomes of one value.
    values : list of float
        First look, from the end that is sought; rising or falling.
    whole : bool
        Whether only whole numbers may be tried.

    Returns
    -------
    list of Judged
        Everything tried, at most `MOST_TRIED`, in the same direction.
    """
    tried = [judge(value) for value in values]
    width = abs(values[-1] - values[0])
    while len(tried) < MOST_TRIED:
        gap = _hidden(tried, width, whole=whole) or _boundary(tried, width, whole=whole)
        if gap is None:
            break
        place = next(number for number, one in enumerate(tried) if one is gap[1])
        tried.insert(place, judge(_middle(gap, whole=whole)))
    return tried


def first_that_holds(tried: list[Judged]) -> int | None:
    """Give the place of the first value that holds."""
    return next((number for number, one in enumerate(tried) if one.holds), None)


def _hidden(tried: list[Judged], width: float, *, whole: bool) -> Gap | None:
    """Give the widest gap before the first value that holds in which a window may hide.

    One between values that both have numbers comes before others, as it is surer.
    """
    if len(tried) >= MOST_TRIED - HALVINGS:
        return None
    before = tried[: first_that_holds(tried)]
    finest = 1.0 if whole else width / STEPS / 2**LOOKS
    gaps = [gap for gap in (*_crossed(before), *_peaks(before)) if _wide(gap) > finest]
    return max(gaps, key=lambda gap: (_numbers(gap), _wide(gap)), default=None)


def _boundary(tried: list[Judged], width: float, *, whole: bool) -> Gap | None:
    """Give the step between the first value that holds and the one before it, if it is coarse."""
    first = first_that_holds(tried)
    if not first:
        return None
    gap = tried[first - 1], tried[first]
    return gap if _wide(gap) > (1.0 if whole else width / STEPS / 2**HALVINGS * 1.5) else None


def _crossed(failing: list[Judged]) -> Iterator[Gap]:
    """Give neighbours that fail for different reasons.

    Where one of them has no numbers, what fails at the other must get better towards it.
    """
    for number, (here, after) in enumerate(pairwise(failing)):
        if not here.failing.isdisjoint(after.failing):
            continue
        before = failing[number - 1] if number else None
        further = failing[number + 2] if number + 2 < len(failing) else None
        if after.trouble and not here.trouble and _worsening(before, here):
            continue
        if here.trouble and not after.trouble and _worsening(further, after):
            continue
        yield here, after


def _worsening(before: Judged | None, here: Judged) -> bool:
    """Tell whether anything that fails at a value stood as well or better just before it."""
    if before is None or before.trouble:
        return False
    return any(
        before.standings[name] >= here.standings[name]
        for name in here.failing & before.standings.keys()
    )


def _peaks(failing: list[Judged]) -> Iterator[Gap]:
    """Give both sides of a value at which all that fails about it stands best."""
    for before, here, after in zip(failing, failing[1:], failing[2:], strict=False):
        common = before.failing & here.failing & after.failing
        if common and all(_best_at(here, (before, after), name) for name in common):
            yield before, here
            yield here, after


def _best_at(here: Judged, beside: Gap, name: str) -> bool:
    """Tell whether a criterion stands better here than beside, or as well as on one side."""
    if any(name not in one.standings for one in (here, *beside)):
        return False
    best, others = here.standings[name], [one.standings[name] for one in beside]
    return best >= max(others) and best > min(others)


def _numbers(gap: Gap) -> bool:
    return not any(one.trouble for one in gap)


def _wide(gap: Gap) -> float:
    return abs(gap[1].value - gap[0].value)


def _middle(gap: Gap, *, whole: bool) -> float:
    """Give the value halfway, or the whole number next to it."""
    middle = 0.5 * (gap[0].value + gap[1].value)
    return float(math.floor(middle)) if whole else middle
