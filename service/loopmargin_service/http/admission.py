"""The layer that turns questions away while too many are being answered.

It stands behind the stored replies and in front of everything that costs, so that saying no
stays cheap when it has to be said most often.
"""

from collections.abc import Collection

from litestar.types import ASGIApp, Receive, Send

from loopmargin_service.http.passing import Passing
from loopmargin_service.http.problems import OVERLOADED
from loopmargin_service.http.turned_away import TurnedAwayError
from loopmargin_service.http.workbench import Workbench

# Questions in this process at one time, whatever they wait for: store, worker or turn.
MOST_INSIDE = 1000


class Admission:
    """Counts the questions inside, and lets in none whose like find no room now."""

    def __init__(self, router: ASGIApp, paths: Collection[str], bench: Workbench) -> None:
        self.inside = 0
        self.router = router
        self._paths = frozenset(paths)
        self._bench = bench

    def require(self, path: str) -> None:
        """Refuse a question unread when there is no room for it."""
        if path not in self._paths:
            return
        self._bench.require(path)
        if self.inside >= MOST_INSIDE:
            detail = f"{self.inside} questions are being answered; ask after Retry-After."
            raise TurnedAwayError(OVERLOADED, detail, 0.0)

    async def admit(self, one: Passing, receive: Receive, send: Send) -> None:
        """Hand a request on to the router; a question counts as long as it is there."""
        counts = one.path in self._paths
        self.inside += counts
        try:
            await self.router(one.scope, receive, send)
        finally:
            self.inside -= counts
