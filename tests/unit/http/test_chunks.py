"""Chunks of a sweep: in order, each once, a few at a time, whoever dies under them."""

import asyncio
from collections.abc import Callable
from typing import Any, TypeVar, TypeVarTuple

import msgspec
import pytest

from loopmargin_service.http.chunks import LEAST_S, PARTS, TRIES, WINDOW, Chunks, Job
from loopmargin_service.http.crew import BothCrews, CrewGone, TookTooLong, handed, heard
from loopmargin_service.http.store import AnswerStore
from loopmargin_service.http.worker_process import WorkerLost
from loopmargin_service.questions import edition, sweep, sweep_cases, sweep_chunks, sweep_plan
from loopmargin_wire.sweep import LONGEST_BLOCK, PackedBlock, SweepQuestion
from tests.unit.questions.swept import FANS, asked

Ts = TypeVarTuple("Ts")
T = TypeVar("T")
CASES = 4


class Hands:
    """A crew in this process that notes what it does and dies where it is told to."""

    places = 1

    def __init__(self, poison: int | None = None, deaths: int = 0, endless: int = -1) -> None:
        self.done: list[tuple[int, int]] = []
        self.waited_s: list[float] = []
        self._endless = endless
        self.under_way = 0
        self.most = 0
        self._poison = poison
        self._deaths = deaths

    async def run(self, longest_s: float, do: Callable[[*Ts], T], *args: *Ts) -> T:
        """Do one task, or die of it."""
        _, first, last = args
        self.under_way += 1
        self.most = max(self.most, self.under_way)
        try:
            await asyncio.sleep(0)
            if self._deaths:
                self._deaths -= 1
                raise WorkerLost
            if first <= self._endless < last:  # type: ignore[operator]
                self.waited_s.append(longest_s)
                raise TookTooLong
            if self._poison is not None and first <= self._poison < last:  # type: ignore[operator]
                raise WorkerLost
            self.done.append((first, last))  # type: ignore[arg-type]
            return do(*args)
        finally:
            self.under_way -= 1

    async def close(self) -> None:
        """Keep nothing."""


@pytest.fixture(autouse=True)
def small_chunks(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let a chunk hold one case, or two."""
    monkeypatch.setattr(sweep_chunks, "chunk_cases", lambda _: 1)


def store() -> AnswerStore:
    """Keep chunks in this process."""
    return AnswerStore(2**20, 60)


def job(first_case: int = 0) -> Job:
    """Ask for four cases."""
    return Job(asked(FANS, first_case=first_case), "a")


def collected(chunks: Chunks, what: Job) -> list[PackedBlock]:
    """Read all chunks."""

    async def read() -> list[PackedBlock]:
        return [part async for part in chunks.of(what)]

    return asyncio.run(read())


def test_every_case_comes_once_and_in_order() -> None:
    """What is joined is what one task would have given."""
    hands = Hands()
    parts = collected(Chunks(hands, store()), job())

    assert sweep.joined(parts) == sweep.chunk(asked(FANS), 0, CASES)
    assert sorted(hands.done) == [(case, case + 1) for case in range(CASES)]
    assert hands.most <= WINDOW


def test_a_later_beginning_gives_the_rest(monkeypatch: pytest.MonkeyPatch) -> None:
    """From the middle of a chunk on."""
    monkeypatch.setattr(sweep_chunks, "chunk_cases", lambda _: 3)
    parts = collected(Chunks(Hands(), store()), job(first_case=2))

    assert sweep.joined(parts) == sweep.chunk(asked(FANS), 2, CASES)


def test_only_what_is_missing_is_computed() -> None:
    """Chunks that are kept are not asked for again."""
    kept, hands = store(), Hands()

    async def interrupted() -> None:
        parts = Chunks(hands, kept).of(job())
        await anext(parts)
        await parts.aclose()  # type: ignore[attr-defined]

    asyncio.run(interrupted())
    before = len(hands.done)
    parts = collected(Chunks(hands, kept), job())

    assert 0 < before < CASES
    assert len(hands.done) == len(set(hands.done)) == CASES
    assert sweep.joined(parts) == sweep.chunk(asked(FANS), 0, CASES)


def test_whoever_reads_slowly_holds_up_the_rest() -> None:
    """No more is under way, or done, than the window lets."""
    hands = Hands()

    async def slowly() -> int:
        parts = Chunks(hands, store()).of(job())
        await anext(parts)
        for _ in range(100):
            await asyncio.sleep(0)
        done = len(hands.done)
        await parts.aclose()  # type: ignore[attr-defined]
        return done

    assert asyncio.run(slowly()) <= WINDOW


def test_a_case_that_ends_its_process_fails_alone(monkeypatch: pytest.MonkeyPatch) -> None:
    """It is found by dividing; the others have their numbers."""
    monkeypatch.setattr(sweep_chunks, "chunk_cases", lambda _: CASES)
    parts = collected(Chunks(Hands(poison=2), store()), job())
    words = sweep.spelled(parts[0])
    whole = sweep.spelled(sweep.opened(sweep.chunk(asked(FANS), 0, CASES)))

    assert words.status == (*whole.status[:2], "worker_lost", whole.status[3])
    assert [fault.case for fault in words.faults] == [2]
    assert words.columns[0][3] == whole.columns[0][3]


def test_a_case_is_found_among_many_in_few_steps(monkeypatch: pytest.MonkeyPatch) -> None:
    """By eight at a time: a thousand cases take four, each with as many tries as any."""
    monkeypatch.setattr(sweep_chunks, "chunk_cases", lambda _: LONGEST_BLOCK)
    fans = {**FANS, "values": [0.6 + 1e-4 * number for number in range(1000)]}
    hands = Hands(poison=777)
    (part,) = collected(Chunks(hands, store()), Job(asked(fans), "a"))

    assert [fault.case for fault in part.faults] == [777]
    assert part.status.count(sweep_cases.LOST) == 1
    assert sum(last - first for first, last in hands.done) == 999
    assert len(hands.done) <= 4 * (PARTS - 1)


def test_a_case_that_lost_its_processes_is_tried_again_next_time() -> None:
    """What depended on the place where it was solved stays under no name."""
    kept = store()
    collected(Chunks(Hands(poison=2), kept), job())
    parts = collected(Chunks(hands := Hands(), kept), job())

    assert hands.done == [(2, 3)]
    assert sweep.joined(parts) == sweep.chunk(asked(FANS), 0, CASES)


def test_a_case_that_never_ends_is_found_without_trying_twice(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """It fails alone and says so; each try waits less, as there is less to do."""
    monkeypatch.setattr(sweep_chunks, "chunk_cases", lambda _: CASES)
    hands = Hands(endless=2)
    parts = collected(Chunks(hands, store()), job())
    words = sweep.spelled(parts[0])

    assert words.status[2] == "worker_lost"
    assert words.faults[0].reason == sweep.TOO_LONG
    assert sorted(hands.done) == [(0, 1), (1, 2), (3, 4)]
    whole_s, alone_s = hands.waited_s
    assert whole_s > alone_s
    assert min(hands.waited_s) > LEAST_S


def test_whoever_asks_again_does_not_wait_for_what_never_ended(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Only the single case is tried again; what was solved beside it is kept."""
    monkeypatch.setattr(sweep_chunks, "chunk_cases", lambda _: CASES)
    chunks = Chunks(hands := Hands(endless=2), store())
    collected(chunks, job())
    done, waited_s = list(hands.done), list(hands.waited_s)
    collected(chunks, job())

    assert hands.done == done
    assert hands.waited_s == [*waited_s, waited_s[-1]]


def test_a_process_that_dies_once_costs_nothing_but_time() -> None:
    """The chunk is given to another one."""
    hands = Hands(deaths=TRIES - 1)
    parts = collected(Chunks(hands, store()), job())

    assert sweep.joined(parts) == sweep.chunk(asked(FANS), 0, CASES)


def test_what_a_crew_hands_back_is_done_here() -> None:
    """A cluster that is gone costs no case."""

    class Gone(Hands):
        async def run(self, longest_s: float, do: Callable[[*Ts], T], *args: *Ts) -> T:
            del longest_s, do, args
            raise CrewGone("none")

    hands = Hands()
    both = BothCrews(Gone(), hands)
    parts = collected(Chunks(both, store()), job())

    assert sweep.joined(parts) == sweep.chunk(asked(FANS), 0, CASES)
    assert len(hands.done) == CASES
    assert both.places == 1
    asyncio.run(both.close())


def test_a_worker_of_another_edition_is_refused() -> None:
    """Its numbers would not be those of the others."""
    with pytest.raises(CrewGone, match="other is asked for"):
        handed("other", str)
    assert handed(edition.EDITION, str, 5) == "5"


def test_a_task_cancelled_far_away_is_no_caller_that_left() -> None:
    """Whoever waits for it goes on."""

    async def waits() -> None:
        from concurrent.futures import Future  # noqa: PLC0415 - one test wants it

        future: Future[Any] = Future()
        future.cancel()
        await heard(future)

    with pytest.raises(CrewGone):
        asyncio.run(waits())


def test_other_questions_have_other_chunks() -> None:
    """And `first_case` and `case_limit` are no part of what a chunk holds."""
    question = asked(FANS, first_case=2, case_limit=9)

    assert sweep.same_cases(question) == sweep.same_cases(asked(FANS))
    assert msgspec.structs.asdict(sweep.same_cases(question))["axes"] == question.axes
    assert isinstance(sweep.same_cases(question), SweepQuestion)
    assert sweep_plan.plan(question).cases == CASES
