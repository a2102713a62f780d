"""How much the long fuzz does and from which seeds: given to `make fuzz`, or left as it is.

make fuzz FUZZ_EXAMPLES=20000 FUZZ_SEEDS=3      # more of everything
make fuzz FUZZ_SEED=1234                        # the same again, or on from where it was stopped
"""

import os
import secrets
import sys
import time

# Random questions for each operation and seed; requests of the raw fuzz and of the soak.
EXAMPLES = int(os.environ.get("FUZZ_EXAMPLES", "1000"))
REQUESTS = int(os.environ.get("FUZZ_REQUESTS", "100000"))
SOAK_REQUESTS = int(os.environ.get("SOAK_REQUESTS", "200000"))
FIRST_SEED = int(os.environ.get("FUZZ_SEED", secrets.randbelow(10**6)))
SEEDS = tuple(range(FIRST_SEED, FIRST_SEED + int(os.environ.get("FUZZ_SEEDS", "1"))))
EVERY_S = 10.0


class Progress:
    """Says now and then how far a long test has come."""

    def __init__(self) -> None:
        self._counts: dict[str, int] = {}
        self._said_s = time.monotonic()

    def count(self, what: str) -> int:
        """Count one more of something."""
        self._counts[what] = done = self._counts.get(what, 0) + 1
        if time.monotonic() - self._said_s > EVERY_S:
            self._said_s = time.monotonic()
            # The first stream of the process: a test that reads its own output still shows this.
            print(f"{what}: {done}, {sum(self._counts.values())} in all", file=sys.__stdout__)
        return done
