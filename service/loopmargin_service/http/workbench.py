"""Where a calculation is done, by the work it is estimated to be.

    up to some milliseconds    in place, between two rounds of the event loop
    up to a quarter second     by quick workers, which go before the others
    longer                     by patient workers, which take what the others leave

So a long calculation never stands before a short one, on the processor or in a queue.
"""

import asyncio
from collections import Counter, defaultdict
from typing import Any

from loopmargin_service.http.deadline import Deadline
from loopmargin_service.http.encode import answered
from loopmargin_service.http.lane import Lane
from loopmargin_service.http.pace import Pace
from loopmargin_service.http.routes import Route
from loopmargin_service.http.turned_away import Told
from loopmargin_service.http.turns import Turns
from loopmargin_service.http.workers import Workers
from loopmargin_wire.answer import Question

# Handing a calculation to another process and back costs about a millisecond. [s]
IN_PLACE_S = 0.005
# What is done in place stays there until it takes so many times as long: questions that went now
# here and now there would never be known to find no room.
STAYS = 1.5
QUICK_S = 0.25
# So many questions of one kind in a row that went to one place, and the next one is taken to go
# there too.
SURELY = 8


class Workbench:
    """Does calculations in time, or refuses them at once."""

    def __init__(
        self, quick: Workers, patient: Workers, longest_wait_s: float, told: Told = lambda _: None
    ) -> None:
        self.turns = Turns(told)
        self.quick = Lane(quick, longest_wait_s, told)
        self.patient = Lane(patient, longest_wait_s, told)
        self.paces: defaultdict[str, Pace] = defaultdict(Pace)
        self._went: dict[str, tuple[Lane | Turns, int]] = {}
        self._let_in: Counter[Lane | Turns] = Counter()
        self._on_their_way: Counter[Lane | Turns] = Counter()

    async def run(self, row: Route, question: Question, deadline: Deadline) -> bytes:
        """Answer one question as JSON."""
        work_s: float = row.work(question)
        job: tuple[Any, ...] = (row.compute, row.answer, question)
        pace = self.paces[row.name]
        expected_s = work_s * pace.factor
        place = self._place(row.path, work_s, expected_s)
        self._note(row.path, place)
        if isinstance(place, Lane):
            return await place.run(work_s, deadline, answered, *job)
        encoded, took_s = await self.turns.run(expected_s, lambda: answered(*job))
        pace.learn(work_s, took_s)
        return encoded

    def require(self, path: str) -> None:
        """Refuse a question unread where its like find no room; this costs next to nothing.

        Those let in during one round of the event loop reach their place only at the end of the
        next, and count until then.
        """
        self.turns.require()
        place, times = self._went.get(path, (self.turns, 0))
        coming = self._let_in[place] + self._on_their_way[place]
        if times >= SURELY and coming >= place.room:
            raise place.refusal()
        if not self._let_in:
            asyncio.get_running_loop().call_soon(self._next_round)
        self._let_in[place] += 1

    def _next_round(self) -> None:
        """Set out those let in; in the next round they are there and no longer on their way."""
        self._on_their_way, self._let_in = self._let_in, Counter()
        asyncio.get_running_loop().call_soon(self._on_their_way.clear)

    @property
    def waiting(self) -> int:
        """Count the calculations that wait for a worker."""
        return self.quick.waiting + self.patient.waiting

    @property
    def work_s(self) -> float:
        """Sum up the work that waits or is being done, on one core. [s]"""
        return self.turns.waiting_s + self.quick.admitted_s + self.patient.admitted_s

    def _place(self, path: str, work_s: float, expected_s: float) -> Lane | Turns:
        before, _ = self._went.get(path, (None, 0))
        if expected_s <= IN_PLACE_S * (STAYS if before is self.turns else 1.0):
            return self.turns
        return self.quick if work_s <= QUICK_S else self.patient

    def _note(self, path: str, place: Lane | Turns) -> None:
        before, times = self._went.get(path, (place, 0))
        self._went[path] = (place, times + 1 if place is before else 1)
