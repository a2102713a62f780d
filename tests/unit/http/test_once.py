"""An answer is computed once, in this process and among replicas, and is right whatever happens."""

import asyncio

import pytest

from loopmargin_service.http.once import LEASE_LEAST_S, Given, Once
from loopmargin_service.http.store import AnswerStore
from loopmargin_service.questions.refusals import Fault, Refusal
from tests.unit.http.shelf import Shelf
from tests.virtual_time import now_s, run

LONG_S = 2.0
REFUSED = Refusal(Fault(("edges_mm",), "edges_mm contradicts label."))


class Replica:
    """One process: its own store in front of a shelf, and how often it computed."""

    def __init__(self, shelf: Shelf | None, *failures: Exception) -> None:
        self.store = AnswerStore(100_000, 60, shelf, clock=now_s)
        self.once = Once(self.store)
        self.calls = 0
        self._failures = list(failures)

    async def compute(self) -> bytes:
        """Take a second over it."""
        self.calls += 1
        await asyncio.sleep(1.0)
        if self._failures:
            raise self._failures.pop(0)
        return b"answer"

    def ask(self, work_s: float = LONG_S) -> asyncio.Task[Given]:
        """Ask the one question there is."""
        return asyncio.create_task(self.once.answer("d", self.compute, work_s))


def sources(given: list[Given]) -> list[str]:
    """List where answers came from; all of them have to be right."""
    assert {one.answer for one in given} == {b"answer"}
    return [one.source for one in given]


@pytest.mark.parametrize("shelf", [None, Shelf()])
def test_two_hundred_equal_questions_are_computed_once(shelf: Shelf | None) -> None:
    """With and without a shared store."""

    async def scene() -> None:
        replica = Replica(shelf)

        given = await asyncio.gather(*(replica.ask(0.0) for _ in range(200)))

        assert sources(given) == ["computed"] + ["collapsed"] * 199
        assert (await replica.ask()).source == "stored"
        assert replica.calls == 1

    run(scene())


@pytest.mark.parametrize(("work_s", "most"), [(LONG_S, 1), (0.001, 2)])
def test_a_fleet_computes_long_ones_once_and_short_ones_once_each(work_s: float, most: int) -> None:
    """Agreeing takes longer than a short calculation."""

    async def scene() -> None:
        shelf = Shelf()
        replicas = [Replica(shelf), Replica(shelf)]

        given = await asyncio.gather(*(replicas[n % 2].ask(work_s) for n in range(200)))

        assert sources(given).count("computed") == most
        assert sum(replica.calls for replica in replicas) == most
        assert shelf.leases == {}

    run(scene())


def test_a_replica_that_fails_gives_the_turn_back() -> None:
    """The other one computes at once and not only when the lease has expired."""

    async def scene() -> None:
        shelf = Shelf()
        failing, other = Replica(shelf, OSError()), Replica(shelf)
        first = failing.ask()
        await asyncio.sleep(0.1)

        second = await other.ask()

        assert isinstance((await asyncio.gather(first, return_exceptions=True))[0], OSError)
        assert (second.source, other.calls, now_s() < 1.0 + 1.0 + 0.2) == ("computed", 1, True)
        assert shelf.leases == {}

    run(scene())


def test_a_replica_whose_callers_leave_gives_the_turn_back() -> None:
    """Stopped is as good as failed."""

    async def scene() -> None:
        shelf = Shelf()
        left, other = Replica(shelf), Replica(shelf)
        first = left.ask()
        await asyncio.sleep(0.1)
        second = other.ask()
        await asyncio.sleep(0.1)
        first.cancel()

        assert (await second).source == "computed"
        assert now_s() < 0.2 + 1.0 + 0.2

    run(scene())


def test_a_replica_that_died_is_waited_for_a_bounded_time() -> None:
    """Its lease expires."""

    async def scene() -> None:
        shelf = Shelf()
        await shelf.lease("d", 1e9)
        replica = Replica(shelf)

        given = await replica.ask(0.5)

        assert given == Given(b"answer", "computed")
        assert now_s() < LEASE_LEAST_S + 3.0 * 0.5 + 1.0 + 0.2

    run(scene())


def test_a_lease_that_became_anothers_is_left_alone() -> None:
    """Whoever computes for longer than its lease gives back nothing."""

    async def scene() -> None:
        shelf = Shelf()
        slow = Replica(shelf)
        first = slow.ask()
        await asyncio.sleep(0.1)
        shelf.leases["d"] = ("another's", 1e9)

        await first

        assert shelf.leases["d"] == ("another's", 1e9)

    run(scene())


def test_what_was_stored_between_looking_and_the_turn_is_used() -> None:
    """The first look missed it; the lease was free because its holder was done."""

    async def scene() -> None:
        shelf, replica = Shelf(), Replica(None)
        replica.store.shared = shelf
        fetch, looks = shelf.fetch, []

        async def at_first_nothing(digest: str) -> bytes | None:
            looks.append(digest)
            if len(looks) == 1:
                shelf.answers["d"] = b"answer"
                return None
            return await fetch(digest)

        shelf.fetch = at_first_nothing  # type: ignore[method-assign]

        assert await replica.ask() == Given(b"answer", "collapsed")
        assert (replica.calls, shelf.leases) == (0, {})

    run(scene())


def test_errors_are_never_stored() -> None:
    """A refusal goes to everybody, and the next caller finds nothing of it."""

    async def scene() -> None:
        shelf = Shelf()
        replica = Replica(shelf, REFUSED)

        given = await asyncio.gather(*(replica.ask() for _ in range(5)), return_exceptions=True)

        assert given == [REFUSED] * 5
        assert (replica.calls, shelf.answers, len(replica.store)) == (1, {}, 0)
        assert (await replica.ask()).source == "computed"

    run(scene())


def test_every_operation_on_the_shared_store_may_fail() -> None:
    """The first, the second, every one: the answer is right, soon there, and nothing hangs."""

    async def scene(failing: int, replicas: int) -> int:
        shelf = Shelf(failing=failing)
        fleet = [Replica(shelf) for _ in range(replicas)]

        given = await asyncio.gather(*(fleet[n % replicas].ask() for n in range(6)))

        sources(given)
        assert now_s() < LEASE_LEAST_S + 3.0 * LONG_S + 1.0 + 1.0
        assert sum(replica.calls for replica in fleet) <= replicas
        return shelf.operations

    for replicas in (1, 2, 3):
        total = run(scene(0, replicas))
        assert total >= 5
        for failing in range(1, total + 1):
            run(scene(failing, replicas))
