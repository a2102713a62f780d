"""The layer that turns questions away while too many are being answered.

It stands behind the stored replies and in front of everything that costs, so that saying no
stays cheap when it has to be said most often.
"""

from collections.abc import Collection

from litestar.enums import ScopeType
from litestar.types import ASGIApp, Receive, Scope, Send

from loopmargin_service.http.problems import OVERLOADED
from loopmargin_service.http.turned_away import TurnedAwayError
from loopmargin_service.http.workbench import Workbench

# Questions in this process at one time, whatever they wait for: store, worker or turn.
MOST_INSIDE = 1000


class Admission:
    """Counts the questions inside, and lets in none whose like find no room now."""

    def __init__(self, app: ASGIApp, paths: Collection[str], bench: Workbench) -> None:
        self.inside = 0
        self._app = app
        self._paths = frozenset(paths)
        self._bench = bench

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Handle one request."""
        if scope["type"] != ScopeType.HTTP or scope["path"] not in self._paths:
            await self._app(scope, receive, send)
            return
        self._bench.require(scope["path"])
        if self.inside >= MOST_INSIDE:
            detail = f"{self.inside} questions are being answered; ask after Retry-After."
            raise TurnedAwayError(OVERLOADED, detail, 0.0)
        self.inside += 1
        try:
            await self._app(scope, receive, send)
        finally:
            self.inside -= 1
