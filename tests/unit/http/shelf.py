"""A shared store in memory, that can be away, or fail at one chosen operation."""

from itertools import count

from loopmargin_service.http.store import Unavailable
from tests.virtual_time import now_s


class Shelf:
    """Answers and leases; the operation number `failing` fails, all of them when it is away."""

    def __init__(self, failing: int = 0) -> None:
        self.answers: dict[str, bytes] = {}
        self.leases: dict[str, tuple[str, float]] = {}
        self.away = False
        self.operations = 0
        self._failing = failing
        self._tokens = count()

    async def fetch(self, digest: str) -> bytes | None:
        """Look an answer up."""
        self._present()
        return self.answers.get(digest)

    async def keep(self, digest: str, answer: bytes) -> None:
        """Store an answer."""
        self._present()
        self.answers[digest] = answer

    async def lease(self, digest: str, for_s: float) -> str | None:
        """Take the turn, unless another one has it."""
        self._present()
        if digest in self.leases and now_s() < self.leases[digest][1]:
            return None
        token = f"token {next(self._tokens)}"
        self.leases[digest] = (token, now_s() + for_s)
        return token

    async def release(self, digest: str, token: str) -> None:
        """Give the turn back, if it is still one's own."""
        self._present()
        if self.leases.get(digest, ("",))[0] == token:
            del self.leases[digest]

    async def usable(self) -> bool:
        """Tell whether it is there."""
        return not self.away

    async def close(self) -> None:
        """Forget everything."""
        self.answers.clear()

    def _present(self) -> None:
        self.operations += 1
        if self.away or self.operations == self._failing:
            raise Unavailable
