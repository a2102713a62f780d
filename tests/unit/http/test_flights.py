"""Work that is wanted several times at once is done once, whoever comes, leaves or fails."""

import asyncio

import pytest

from loopmargin_service.http.flights import Flights
from tests.virtual_time import run


class RefusedError(Exception):
    """The same for everybody."""


class Work:
    """Counts how often it is begun and stopped; ends after a second, as it is told."""

    def __init__(self, *failures: type[BaseException]) -> None:
        self.begun = self.stopped = 0
        self._failures = list(failures)

    async def __call__(self) -> int:
        """Do it once."""
        self.begun += 1
        mine, failure = self.begun, self._failures.pop(0) if self._failures else None
        try:
            await asyncio.sleep(1.0)
        except asyncio.CancelledError:
            self.stopped += 1
            raise
        if failure is not None:
            raise failure
        return mine


def many(flights: Flights[int], work: Work, count: int) -> list[asyncio.Task[tuple[int, bool]]]:
    """Let several callers ask for the same."""
    return [asyncio.create_task(flights.share("same", work)) for _ in range(count)]


def test_two_hundred_callers_cause_one_piece_of_work() -> None:
    """One has done it, the others followed, and nothing is left behind."""

    async def scene() -> None:
        flights, work = Flights[int](RefusedError), Work()

        results = await asyncio.gather(*many(flights, work, 200))

        assert results == [(1, False)] + [(1, True)] * 199
        assert (work.begun, len(flights)) == (1, 0)

    run(scene())


def test_other_names_are_other_work() -> None:
    """Nothing is shared that is not equal."""

    async def scene() -> None:
        flights, work = Flights[int](RefusedError), Work()

        results = await asyncio.gather(*(flights.share(name, work) for name in "abc"))

        assert results == [(1, False), (2, False), (3, False)]

    run(scene())


def test_what_has_ended_is_not_kept() -> None:
    """The store remembers; this does not."""

    async def scene() -> None:
        flights, work = Flights[int](RefusedError), Work()

        assert [await flights.share("same", work) for _ in range(2)] == [(1, False), (2, False)]

    run(scene())


def test_whoever_began_may_leave() -> None:
    """The work goes on for the others and is not begun again."""

    async def scene() -> None:
        flights, work = Flights[int](RefusedError), Work()
        first, *others = many(flights, work, 5)
        await asyncio.sleep(0.5)
        first.cancel()

        assert await asyncio.gather(*others) == [(1, True)] * 4
        assert first.cancelled()
        assert (work.begun, work.stopped) == (1, 0)

    run(scene())


def test_the_work_stops_when_the_last_one_leaves() -> None:
    """Nobody computes for nobody; the next caller begins anew and does not get the ruin."""

    async def scene() -> None:
        flights, work = Flights[int](RefusedError), Work()
        callers = many(flights, work, 3)
        await asyncio.sleep(0.5)
        for caller in callers:
            caller.cancel()
        await asyncio.sleep(0)
        late = asyncio.create_task(flights.share("same", work))

        assert await late == (2, False)
        assert [caller.cancelled() for caller in callers] == [True] * 3
        assert (work.begun, work.stopped, len(flights)) == (2, 1, 0)

    run(scene())


def test_the_misfortune_of_one_is_not_handed_on() -> None:
    """It fails for whoever began; one of the others begins anew for all that are left."""

    async def scene() -> None:
        flights, work = Flights[int](RefusedError), Work(MemoryError, OSError)

        results = await asyncio.gather(*many(flights, work, 6), return_exceptions=True)

        assert [type(result) for result in results[:2]] == [MemoryError, OSError]
        assert results[2:] == [(3, False)] + [(3, True)] * 3
        assert work.begun == 3

    run(scene())


def test_a_refusal_is_the_same_for_everybody() -> None:
    """It is found once."""

    async def scene() -> None:
        flights, work = Flights[int](RefusedError), Work(RefusedError)

        results = await asyncio.gather(*many(flights, work, 6), return_exceptions=True)

        assert {type(result) for result in results} == {RefusedError}
        assert work.begun == 1

    run(scene())


def test_work_that_is_stopped_from_within_is_begun_anew_by_the_others() -> None:
    """A pool that is closed cancels what it has; that is not a caller who leaves."""

    async def scene() -> None:
        flights, work = Flights[int](RefusedError), Work(asyncio.CancelledError)
        first, *others = many(flights, work, 3)

        assert await asyncio.gather(*others) == [(2, False), (2, True)]
        with pytest.raises(asyncio.CancelledError):
            await first

    run(scene())


def test_a_caller_who_comes_the_moment_work_fails_begins_anew() -> None:
    """The failed work is still listed then, and must not be waited for again and again."""

    async def scene() -> None:
        flights, late = Flights[int](RefusedError), []

        async def fail() -> int:
            await asyncio.sleep(1.0)
            late.append(asyncio.create_task(flights.share("same", Work())))
            raise OSError

        first = asyncio.create_task(flights.share("same", fail))

        assert isinstance((await asyncio.gather(first, return_exceptions=True))[0], OSError)
        assert await late[0] == (1, False)

    run(scene())


def test_a_failure_after_the_last_one_left_is_nobodys(caplog: pytest.LogCaptureFixture) -> None:
    """Work that fails while it is being stopped leaves no complaint in the log."""

    async def scene() -> None:
        flights = Flights[int](RefusedError)

        async def stubborn() -> int:
            try:
                await asyncio.sleep(1.0)
            finally:
                raise OSError
            return 0

        caller = asyncio.create_task(flights.share("same", stubborn))
        await asyncio.sleep(0.5)
        caller.cancel()
        await asyncio.sleep(0.5)
        assert caller.cancelled()

    run(scene())
    assert caplog.records == []
