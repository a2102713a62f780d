"""Sweeps on a real Dask cluster: the same bytes, whatever dies meanwhile."""

import asyncio
from collections.abc import Callable, Iterator
from typing import TypeVar, TypeVarTuple

import pytest

from loopmargin_service.http.chunks import Chunks, Job
from loopmargin_service.http.crew import BothCrews, CrewGone
from loopmargin_service.http.dask_crew import DaskCrew
from loopmargin_service.http.store import AnswerStore
from loopmargin_service.questions import sweep, sweep_chunks
from loopmargin_wire.sweep import PackedBlock
from tests.faults.dask_cluster import Cluster, cluster
from tests.faults.replica import eventually
from tests.faults.streamed import question

Ts = TypeVarTuple("Ts")
T = TypeVar("T")
QUESTION = question(60, 60)
CASES = 3600
CHUNK = 300


class Counted:
    """A crew in this process, or one far away, that notes the chunks it has done."""

    def __init__(self, crew: DaskCrew | None = None) -> None:
        self.done: list[tuple[object, ...]] = []
        self._crew = crew

    @property
    def places(self) -> int:
        """Count the places far away, or the one here."""
        return 1 if self._crew is None else self._crew.places

    async def run(self, longest_s: float, do: Callable[[*Ts], T], *args: *Ts) -> T:
        """Do one task."""
        result = do(*args) if self._crew is None else await self._crew.run(longest_s, do, *args)
        self.done.append(args[1:])
        return result

    async def close(self) -> None:
        """Let go of what is far away."""
        if self._crew is not None:
            await self._crew.close()


@pytest.fixture(autouse=True)
def small_chunks(monkeypatch: pytest.MonkeyPatch) -> None:
    """Make many chunks of few cases."""
    monkeypatch.setattr(sweep_chunks, "chunk_cases", lambda _: CHUNK)


@pytest.fixture(scope="module")
def dask() -> Iterator[Cluster]:
    """Run two workers for the tests that leave them alive."""
    with cluster() as made:
        connected(made)
        yield made


def connected(made: Cluster) -> None:
    """Wait until both workers take tasks."""
    crew = DaskCrew(made.address)

    async def both() -> bool:
        try:
            assert await crew.run(9.0, int, 7) == 7
        except Exception:  # noqa: BLE001 - not yet
            return False
        return crew.places == len(made.workers)

    async def wait() -> None:
        for _ in range(600):
            if await both():
                break
            await asyncio.sleep(0.1)
        else:
            raise AssertionError
        await crew.close()

    asyncio.run(wait())


def swept(
    away: Counted,
    here: Counted,
    kept: AnswerStore | None = None,
    meanwhile: Callable[[int], None] = lambda _: None,
) -> list[PackedBlock]:
    """Read a whole sweep; something may happen after each chunk."""

    async def read() -> list[PackedBlock]:
        both = BothCrews(away, here)
        store = AnswerStore(2**24, 60) if kept is None else kept
        parts = []
        async for part in Chunks(both, store).of(Job(QUESTION, "a")):
            parts.append(part)
            await asyncio.to_thread(meanwhile, len(parts))
        await both.close()
        return parts

    return asyncio.run(read())


def require_whole(parts: list[PackedBlock], *crews: Counted) -> None:
    """Require every case once, in the bytes of one process, and every chunk done once."""
    done = [chunk for crew in crews for chunk in crew.done]

    assert sweep.joined(parts) == sweep.chunk(sweep.same_cases(QUESTION), 0, CASES)
    assert sorted(done) == [(first, first + CHUNK) for first in range(0, CASES, CHUNK)]


def test_a_cluster_gives_the_same_bytes(dask: Cluster) -> None:
    """All of it is done there."""
    away, here = Counted(DaskCrew(dask.address)), Counted()

    require_whole(swept(away, here), away, here)
    assert here.done == []


def test_a_cluster_that_is_not_there_costs_no_case() -> None:
    """The processes here do it."""
    away, here = Counted(DaskCrew(Cluster().address)), Counted()

    require_whole(swept(away, here), away, here)
    assert away.done == []


def test_a_worker_killed_meanwhile_costs_no_case() -> None:
    """The other one, or the processes here, do its chunks."""
    with cluster() as made:
        connected(made)
        away, here = Counted(DaskCrew(made.address)), Counted()

        def kill(count: int) -> None:
            if count == 2:
                made.workers[0].kill()

        require_whole(swept(away, here, meanwhile=kill), away, here)
    assert away.done


def test_a_scheduler_killed_and_started_again_costs_only_what_is_missing() -> None:
    """The sweep that was interrupted is asked for again, on a new scheduler."""
    kept = AnswerStore(2**24, 60)
    with cluster() as made:
        connected(made)
        first, none = Counted(DaskCrew(made.address)), Counted()

        def interrupt(count: int) -> None:
            if count == 3:
                raise InterruptedError

        with pytest.raises(InterruptedError):
            swept(first, none, kept, interrupt)
        made.kill()
        made.start_scheduler()
        made.start_worker()
        connected(made)
        again = Counted(DaskCrew(made.address))
        parts = swept(again, none, kept)

    require_whole(parts, first, again, none)
    assert len(again.done) <= 12 - 3


def test_a_scheduler_killed_meanwhile_costs_no_case() -> None:
    """What it had is done here."""
    with cluster() as made:
        connected(made)
        away, here = Counted(DaskCrew(made.address)), Counted()
        parts = swept(away, here, meanwhile=lambda count: made.kill() if count == 3 else None)

    require_whole(parts, away, here)
    assert len(away.done) >= 3
    assert here.done


def test_workers_of_another_edition_do_nothing() -> None:
    """Their chunks are done here."""
    with cluster(workers=0) as made:
        made.start_worker("--preload", "tests.faults.other_edition")

        def there() -> bool:
            with pytest.raises(CrewGone) as told:
                asyncio.run(DaskCrew(made.address).run(9.0, int, 7))
            return "of another year" in str(told.value)

        eventually(there)
        away, here = Counted(DaskCrew(made.address)), Counted()
        require_whole(swept(away, here), away, here)

    assert away.done == []
