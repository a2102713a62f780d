"""A stream pays for a chunk before it is solved, little for one that was stored, no more."""

import asyncio
from collections.abc import Callable
from typing import TypeVar, TypeVarTuple

import pytest

from loopmargin_service.http.chunks import Chunks, Job
from loopmargin_service.http.problems import QUOTA, ProblemError
from loopmargin_service.http.purse import Purse
from loopmargin_service.questions import sweep_chunks, work
from tests.unit.http.test_chunks import CASES, Hands, store
from tests.unit.questions.swept import FANS, asked

Ts = TypeVarTuple("Ts")
T = TypeVar("T")
QUESTION = asked(FANS)
CASE_S = work.sweep_chunk(QUESTION, 1)
SENT_S = work.sweep_sent(1)


class Limited:
    """An allowance that notes what is paid, and refuses at times."""

    def __init__(self, refusals: int = 0) -> None:
        self.paid: list[float] = []
        self.refusals = refusals

    async def work(self, work_s: float) -> None:
        """Take some work, or refuse it."""
        await asyncio.sleep(0)
        if self.refusals:
            self.refusals -= 1
            raise ProblemError(QUOTA, "later", headers=((b"retry-after", b"0"),))
        self.paid.append(work_s)


class Watched(Hands):
    """A crew that notes how much had been paid when a task came to it."""

    def __init__(self, allowance: Limited) -> None:
        super().__init__()
        self.paid_before: list[float] = []
        self._allowance = allowance

    async def run(self, longest_s: float, do: Callable[[*Ts], T], *args: *Ts) -> T:
        """Do one task."""
        self.paid_before.append(sum(self._allowance.paid))
        return await super().run(longest_s, do, *args)


@pytest.fixture(autouse=True)
def small_chunks(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let a chunk hold one case."""
    monkeypatch.setattr(sweep_chunks, "chunk_cases", lambda _: 1)


def read(chunks: Chunks, allowance: Limited, ahead_s: float = 0.0) -> int:
    """Read a whole sweep, some of which was paid for before; count its cases."""

    async def reading() -> int:
        purse = Purse(allowance)  # type: ignore[arg-type]
        if ahead_s:
            await purse.ahead(ahead_s)
        return sum([len(part.status) async for part in chunks.of(Job(QUESTION, "a", purse.pay))])

    return asyncio.run(reading())


def test_each_chunk_is_paid_once_before_it_is_solved() -> None:
    """Four chunks, four payments, none after the last one."""
    allowance = Limited()
    crew = Watched(allowance)

    assert read(Chunks(crew, store()), allowance) == CASES
    assert allowance.paid == [CASE_S] * CASES
    assert all(before >= CASE_S * count for count, before in enumerate(crew.paid_before, start=1))


def test_what_was_paid_ahead_is_not_paid_again() -> None:
    """Credit is for the first chunks, to the last part of it."""
    allowance = Limited()
    read(Chunks(Hands(), store()), allowance, ahead_s=1.5 * CASE_S)

    assert allowance.paid[0] == 1.5 * CASE_S
    assert sum(allowance.paid) == pytest.approx(CASES * CASE_S)


def test_a_stored_chunk_costs_no_more_than_sending_it() -> None:
    """The second time nothing is solved."""
    kept = store()
    read(Chunks(Hands(), kept), Limited())
    allowance = Limited()

    assert read(Chunks(hands := Hands(), kept), allowance) == CASES
    assert hands.done == []
    assert allowance.paid == [SENT_S] * CASES
    assert SENT_S < 0.2 * CASE_S


def test_a_chunk_waits_until_the_quota_allows_it() -> None:
    """It is neither given up nor solved unpaid."""
    allowance = Limited(refusals=3)
    crew = Watched(allowance)

    assert read(Chunks(crew, store()), allowance) == CASES
    assert allowance.paid == [CASE_S] * CASES
    assert all(before >= CASE_S for before in crew.paid_before)


def test_what_cannot_be_paid_ahead_is_refused() -> None:
    """Before the stream begins there is still a status to say it with."""
    with pytest.raises(ProblemError):
        read(Chunks(Hands(), store()), Limited(refusals=1), ahead_s=1.0)


def test_without_a_quota_nothing_is_paid() -> None:
    """And nothing is waited for."""

    async def paying() -> None:
        purse = Purse(None)
        await purse.ahead(1e6)
        await purse.pay(1e6)

    asyncio.run(paying())
