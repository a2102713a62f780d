"""What every refusal for lack of capacity shares: when to come back, and who counts it."""

import math
import random
from collections.abc import Callable

from loopmargin_service.http.problems import Kind, ProblemError
from loopmargin_service.http.reply import Header

# Callers turned away together shall not come back together.
LEAST_SPREAD_S = 2
LONGEST_S = 60
# Share of a queue up to which nobody is turned away for others who are on their way to it.
HALF = 0.5

# Is told the reason of each refusal: queue_full, too_much_work, past_deadline, overloaded.
Told = Callable[[str], None]


class TurnedAwayError(ProblemError):
    """There is no room now, for anybody; after some time there should be."""

    def __init__(self, kind: Kind, detail: str, wait_s: float) -> None:
        super().__init__(kind, detail, headers=retry_after(wait_s))


def retry_after(wait_s: float) -> tuple[Header, ...]:
    """Ask to come back when there should be room, at a moment drawn at random."""
    least = min(max(1, math.ceil(wait_s)), LONGEST_S)
    seconds = least + int(random.random() * (1 + max(LEAST_SPREAD_S, least)))  # noqa: S311 - no secret
    return ((b"retry-after", str(seconds).encode()),)
