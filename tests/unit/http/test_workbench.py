"""Where a calculation is done, and what is refused before it begins."""

import asyncio
from collections import Counter
from collections.abc import Awaitable, Callable
from concurrent.futures import Executor, Future
from typing import Any

import pytest

from loopmargin_service.http.deadline import Deadline, deadline
from loopmargin_service.http.lane import MOST_WAITING, Lane
from loopmargin_service.http.pace import Pace
from loopmargin_service.http.problems import BUSY, DEADLINE, Kind, ProblemError
from loopmargin_service.http.turned_away import LONGEST_S, retry_after
from loopmargin_service.http.workbench import IN_PLACE_S, QUICK_S, Workbench
from tests.unit.http.parcel import Counter as Parcels
from tests.unit.http.parcel import ParcelQuestion, parcel_routes

QUESTION = ParcelQuestion(edges_mm=(1.0,))


class Held(Executor):
    """Two workers that begin what they are given and end it when told."""

    processes = 2

    def __init__(self) -> None:
        self.futures: list[Future[Any]] = []

    def submit(self, fn: Callable[..., Any], /, *args: Any, **kwargs: Any) -> Future[Any]:  # noqa: ANN401, ARG002 - the signature of every executor
        """Take a task."""
        self.futures.append(Future())
        return self.futures[-1]

    def finish(self, took_s: float) -> None:
        """End the first task that has not ended."""
        next(one for one in self.futures if not one.done()).set_result((b"{}", took_s))


class Scene:
    """A lane over held workers, and what it refused."""

    def __init__(self, longest_wait_s: float = 10.0) -> None:
        self.told: Counter[str] = Counter()
        self.held = Held()
        workers: Any = self.held
        self.lane = Lane(workers, longest_wait_s, lambda reason: self.told.update([reason]))
        self.tasks: list[asyncio.Task[object]] = []

    async def ask(self, work_s: float, limit: Deadline) -> None:
        """Ask for something and let it come as far as it does."""
        self.tasks.append(asyncio.create_task(self.lane.run(work_s, limit, bytes)))
        await asyncio.sleep(0)

    def refusal(self) -> tuple[Kind, dict[str, str]]:
        """Tell how the last one was refused."""
        error = self.tasks[-1].exception()
        assert isinstance(error, ProblemError)
        return error.kind, {name.decode(): value.decode() for name, value in error.headers}


def play(scene: Callable[[], Awaitable[None]]) -> None:
    """Run a scene to its end."""

    async def whole() -> None:
        await scene()

    asyncio.run(whole())


def test_what_waits_is_work_and_not_a_number_of_questions() -> None:
    """A worker that is free makes nobody wait; then the work in front counts."""

    async def scene() -> None:
        at = Scene()
        for expected_s in (0.0, 0.0, 2.0, 3.0):
            assert at.lane.wait_s == expected_s
            await at.ask(2.0, deadline(b"", 30.0))
        assert (at.lane.admitted, at.lane.waiting, at.lane.admitted_s) == (4, 2, 8.0)
        at.held.finish(2.0)
        await asyncio.wait(at.tasks[:1])
        assert (at.lane.admitted, at.lane.waiting, at.lane.wait_s) == (3, 1, 3.0)

    play(scene)


def test_what_cannot_be_done_in_its_time_is_not_begun() -> None:
    """Waiting helps nobody who asks for too much: 504, and no Retry-After."""

    async def scene() -> None:
        at = Scene()
        await at.ask(31.0, deadline(b"", 30.0))
        assert at.refusal() == (DEADLINE, {})
        await at.ask(6.0, deadline(b"wait=5", 30.0))
        assert at.refusal() == (DEADLINE, {})
        assert at.told == {"too_much_work": 2}
        assert at.held.futures == []

    play(scene)


def test_what_would_wait_past_its_deadline_is_told_to_come_back() -> None:
    """503 with the time after which it fits; one with more patience is let in."""

    async def scene() -> None:
        at = Scene(longest_wait_s=100.0)
        for _ in range(2):
            await at.ask(20.0, deadline(b"", 30.0))
        await at.ask(15.0, deadline(b"", 30.0))
        kind, headers = at.refusal()
        assert kind is BUSY
        assert 5 <= int(headers["retry-after"]) <= 12
        assert at.told == {"past_deadline": 1}
        await at.ask(15.0, deadline(b"", 60.0))
        assert at.lane.admitted == 3

    play(scene)


def test_nobody_waits_longer_than_the_queue_is_allowed_to_be() -> None:
    """However much time the caller has; a free place is taken again."""

    async def scene() -> None:
        at = Scene(longest_wait_s=3.0)
        for _ in range(4):
            await at.ask(2.0, deadline(b"", 1000.0))
        await at.ask(2.0, deadline(b"", 1000.0))
        assert at.refusal()[0] is BUSY
        assert at.told == {"queue_full": 1}
        at.held.finish(2.0)
        await asyncio.wait(at.tasks[:1])
        await at.ask(2.0, deadline(b"", 1000.0))
        assert at.lane.admitted == 4

    play(scene)


def test_so_many_may_wait_and_no_more() -> None:
    """Also when each is estimated at next to nothing."""

    async def scene() -> None:
        at = Scene()
        for _ in range(MOST_WAITING + 3):
            await at.ask(1e-9, deadline(b"", 30.0))
        assert at.refusal()[0] is BUSY
        assert at.lane.waiting == MOST_WAITING

    play(scene)


def test_who_is_cancelled_frees_the_worker_and_the_place() -> None:
    """The caller left, or its time was over."""

    async def scene() -> None:
        at = Scene()
        await at.ask(2.0, deadline(b"", 30.0))
        at.tasks[0].cancel()
        await asyncio.wait(at.tasks)
        assert at.held.futures[0].cancelled()
        assert (at.lane.admitted, at.lane.admitted_s) == (0, 0.0)

    play(scene)


def test_a_slower_machine_admits_less() -> None:
    """What calculations took is what the next ones are taken for."""

    async def scene() -> None:
        at = Scene()
        for _ in range(60):
            await at.ask(1.0, deadline(b"", 30.0))
            at.held.finish(4.0)
            await asyncio.wait(at.tasks[-1:])
        await at.ask(6.0, deadline(b"", 30.0))
        assert at.lane.admitted == 1
        await at.ask(10.0, deadline(b"", 30.0))
        assert at.refusal()[0] is DEADLINE

    play(scene)


@pytest.mark.parametrize("wait_s", [-5.0, 0.0, 0.2, 7.3, 1e9])
def test_callers_turned_away_together_do_not_come_back_together(wait_s: float) -> None:
    """At least the time asked for, at least a second, never a day, and drawn."""
    drawn = {int(retry_after(wait_s)[0][1]) for _ in range(200)}

    assert len(drawn) > 1
    assert min(drawn) >= min(max(1.0, wait_s), LONGEST_S)
    assert max(drawn) <= 2 * LONGEST_S


@pytest.mark.parametrize(
    ("work_s", "place"),
    [
        (IN_PLACE_S / 2, "in place"),
        (IN_PLACE_S * 2, "quick"),
        (QUICK_S, "quick"),
        (QUICK_S * 1.01, "patient"),
    ],
)
def test_the_work_decides_the_place(work_s: float, place: str) -> None:
    """In place, or with one of two crews."""

    async def scene() -> None:
        parcels, quick, patient = Parcels(), Held(), Held()
        crews: tuple[Any, Any] = quick, patient
        bench = Workbench(*crews, 10.0)
        row = parcel_routes(parcels)[0]._replace(work=lambda _: work_s)
        running = asyncio.create_task(bench.run(row, QUESTION, deadline(b"", 30.0)))
        for _ in range(3):
            await asyncio.sleep(0)
        found = {"in place": parcels.calls, "quick": len(quick.futures)}
        found["patient"] = len(patient.futures)
        assert found == {"in place": 0, "quick": 0, "patient": 0, place: 1}
        running.cancel()

    play(scene)


def test_what_turns_out_long_goes_to_the_workers() -> None:
    """An estimate that is ten times too small blocks the event loop a few times and no more."""

    async def scene() -> None:
        parcels, quick = Parcels(), Held()
        crews: tuple[Any, Any] = quick, Held()
        bench = Workbench(*crews, 10.0)
        row = parcel_routes(parcels)[0]._replace(work=lambda _: IN_PLACE_S / 2)
        for _ in range(10):
            bench.paces[row.name].learn(1.0, 1e3)
        running = asyncio.create_task(bench.run(row, QUESTION, deadline(b"", 30.0)))
        await asyncio.sleep(0)
        assert (parcels.calls, len(quick.futures)) == (0, 1)
        running.cancel()

    play(scene)


def test_what_is_at_the_limit_does_not_go_now_here_and_now_there(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """A kind stays in place until it takes much longer, with the workers until it takes less."""
    monkeypatch.setattr(Pace, "learn", lambda *_: None)

    async def scene() -> list[int]:
        quick = Held()
        crews: tuple[Any, Any] = quick, Held()
        bench = Workbench(*crews, 10.0)
        row = parcel_routes(Parcels())[0]
        handed_over, tasks = [], []
        for share in (0.9, 1.2, 0.9, 1.4, 1.6, 1.2, 0.9):
            timed = row._replace(work=lambda _, share=share: share * IN_PLACE_S)
            running = bench.run(timed, QUESTION, deadline(b"", 30.0))
            tasks.append(asyncio.create_task(running))
            await asyncio.sleep(0)
            handed_over.append(len(quick.futures))
        for task in tasks:
            task.cancel()
        await asyncio.wait(tasks)
        return handed_over

    assert asyncio.run(scene()) == [0, 0, 0, 0, 1, 2, 2]


def test_what_would_go_to_a_full_lane_is_refused_unread() -> None:
    """Once enough of its kind went there in a row; another kind is let in, and this one later."""

    async def scene() -> None:
        quick = Held()
        crews: tuple[Any, Any] = quick, Held()
        bench = Workbench(*crews, 1.0)
        row = parcel_routes(Parcels())[0]._replace(work=lambda _: QUICK_S)
        tasks = []
        for _ in range(8):
            bench.require(row.path)
            running = bench.run(row, QUESTION, deadline(b"", 30.0))
            tasks.append(asyncio.create_task(running))
            await asyncio.sleep(0)
        with pytest.raises(ProblemError) as caught:
            bench.require(row.path)
        assert caught.value.kind is BUSY
        bench.require("/v1/another")
        for task in tasks:
            task.cancel()
        await asyncio.wait(tasks)
        bench.require(row.path)

    play(scene)
