"""How much longer calculations take here than estimated.

An estimate holds for one core of the machine it was measured on. Another machine, or one
with other work, is slower or faster by a factor that the last calculations tell. What they
told is forgotten with time, so that a bad moment does not shut out questions for good.
"""

import math
import time
from collections.abc import Callable

# Share that one calculation has in the factor, and how far one may lie from it.
WEIGHT = 0.1
LEAST, MOST = 0.1, 10.0
HALF_LIFE_S = 20.0
# Shorter calculations say more about the clock than about the machine. [s]
WORTH_COUNTING_S = 1e-4


class Pace:
    """A factor between 0.1 and 10 on estimated seconds, led by the calculations done."""

    def __init__(self, clock: Callable[[], float] = time.monotonic) -> None:
        self._clock = clock
        self._log = 0.0
        self._at_s = clock()

    @property
    def factor(self) -> float:
        """Seconds here for each second estimated."""
        quiet_s = self._clock() - self._at_s
        return math.exp(self._log * 0.5 ** (quiet_s / HALF_LIFE_S))

    def learn(self, estimated_s: float, took_s: float) -> None:
        """Take note of a calculation."""
        if estimated_s < WORTH_COUNTING_S:
            return
        ratio = min(max(took_s / estimated_s, LEAST), MOST)
        known = math.log(self.factor)
        self._log = known + WEIGHT * (math.log(ratio) - known)
        self._at_s = self._clock()
