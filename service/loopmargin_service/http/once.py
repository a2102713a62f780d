"""An answer by its digest: stored, under way here, under way in another replica, or computed.

Equal questions at the same time lead to one calculation in this process. Between replicas
a lease in the shared store does the same for calculations that take longer than agreeing
on them; a replica waits for another one for a bounded time and then computes itself.
"""

import asyncio
import contextlib
from collections.abc import Awaitable, Callable
from typing import Literal, NamedTuple

from loopmargin_service.http.flights import Flights
from loopmargin_service.http.store import AnswerStore, Found, SharedStore, Unavailable
from loopmargin_service.http.turned_away import TurnedAwayError
from loopmargin_service.questions.refusals import Refusal

Compute = Callable[[], Awaitable[bytes]]

# Below this much work, computing twice costs less than asking whose turn it is. [s]
WORTH_A_LEASE_S = 0.02
# A replica may queue and be slower than estimated; one that died is not waited for long. [s]
LEASE_LEAST_S, LEASE_MOST_S, LEASE_PER_WORK = 1.0, 30.0, 3.0
POLL_S = 0.05


class Given(NamedTuple):
    """An answer, where it came from, and whether the shared store worked."""

    answer: bytes
    source: Literal["stored", "collapsed", "computed"]
    available: bool = True


class _Turn(NamedTuple):
    """What waiting brought: another's answer, or the lease to compute it, or neither in time."""

    answer: bytes | None
    token: str | None


class Once:
    """Answers of this process, each computed once for all who ask at the same time."""

    def __init__(self, store: AnswerStore) -> None:
        self._store = store
        self._flights: Flights[Given] = Flights((Refusal, TurnedAwayError))

    def __len__(self) -> int:
        """Count the questions under way."""
        return len(self._flights)

    async def answer(self, digest: str, compute: Compute, work_s: float) -> Given:
        """Give an answer; `work_s` is about how long computing it takes."""
        held = self._store.held(digest)
        if held is not None:
            return Given(held, "stored")
        given, followed = await self._flights.share(
            digest, lambda: self._looked_up(digest, compute, work_s)
        )
        return (
            given._replace(source="collapsed") if followed and given.source == "computed" else given
        )

    async def _looked_up(self, digest: str, compute: Compute, work_s: float) -> Given:
        found = await self._store.find(digest)
        if found.answer is not None:
            return Given(found.answer, "stored", found.available)
        shared = self._store.shared
        if shared is None or not found.available:
            return await self._alone(digest, compute, found)
        if work_s < WORTH_A_LEASE_S:
            return await self._for_all(digest, compute)
        return await self._in_turn(shared, digest, compute, work_s)

    async def _alone(self, digest: str, compute: Compute, found: Found) -> Given:
        """Compute and keep here alone: there is no shared store, or it is known to be away."""
        answer = await compute()
        self._store.hold(digest, answer)
        return Given(answer, "computed", found.available)

    async def _for_all(self, digest: str, compute: Compute) -> Given:
        answer = await compute()
        return Given(answer, "computed", await self._store.keep(digest, answer))

    async def _in_turn(
        self, shared: SharedStore, digest: str, compute: Compute, work_s: float
    ) -> Given:
        lease_s = min(LEASE_MOST_S, LEASE_LEAST_S + LEASE_PER_WORK * work_s)
        try:
            turn = await self._turn(shared, digest, lease_s)
        except Unavailable:
            return await self._alone(digest, compute, Found(None, available=False))
        try:
            if turn.answer is None:
                return await self._for_all(digest, compute)
            self._store.hold(digest, turn.answer)
            return Given(turn.answer, "collapsed")
        finally:
            if turn.token is not None:
                with contextlib.suppress(Unavailable):
                    await shared.release(digest, turn.token)

    async def _turn(self, shared: SharedStore, digest: str, lease_s: float) -> _Turn:
        """Wait until another replica has answered, or given up, or has had time enough."""
        now = asyncio.get_running_loop().time
        until_s = now() + lease_s
        while True:
            token = await shared.lease(digest, lease_s)
            # Whoever had the turn before may have stored the answer just now.
            answer = await shared.fetch(digest)
            if answer is not None or token is not None or now() >= until_s:
                return _Turn(answer, token)
            await asyncio.sleep(POLL_S)
