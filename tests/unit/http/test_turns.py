"""Short calculations take turns with the event loop, and too many are refused at once."""

import asyncio
import itertools
from collections import Counter
from collections.abc import Callable

import pytest

from loopmargin_service.http.problems import OVERLOADED, ProblemError
from loopmargin_service.http.turns import LONGEST_WAIT_S, ROUND_S, Turns


def test_the_event_loop_comes_round_between_calculations(monkeypatch: pytest.MonkeyPatch) -> None:
    """Ten arrive together; as soon as a round has taken its time the loop does what else it has."""
    clock = itertools.count(0.0, ROUND_S / 2)
    monkeypatch.setattr("loopmargin_service.http.turns.perf_counter", lambda: next(clock))
    rounds = 0
    seen: list[int] = []

    async def scene() -> None:
        turns = Turns(lambda _: None)

        async def count() -> None:
            nonlocal rounds
            while True:
                rounds += 1
                await asyncio.sleep(0)

        counting = asyncio.create_task(count())
        await asyncio.gather(*(turns.run(1e-4, lambda: seen.append(rounds)) for _ in range(10)))
        counting.cancel()

    asyncio.run(scene())

    assert len(seen) == 10
    assert all(later > earlier for earlier, later in itertools.pairwise(seen))


def test_none_begins_that_would_outlast_the_round() -> None:
    """What should take over half a round has a round for itself, though there is time left."""
    rounds = 0
    seen: list[int] = []

    async def scene() -> None:
        turns = Turns(lambda _: None)

        async def count() -> None:
            nonlocal rounds
            while True:
                rounds += 1
                await asyncio.sleep(0)

        counting = asyncio.create_task(count())
        work = (turns.run(ROUND_S, lambda: seen.append(rounds)) for _ in range(5))
        await asyncio.gather(*work)
        counting.cancel()

    asyncio.run(scene())

    assert len(set(seen)) == len(seen) == 5


def test_they_are_done_in_the_order_they_came() -> None:
    """Nobody is passed over."""
    done: list[int] = []

    def noting(number: int) -> Callable[[], None]:
        return lambda: done.append(number)

    async def scene() -> None:
        turns = Turns(lambda _: None)
        await asyncio.gather(*(turns.run(1e-3, noting(number)) for number in range(20)))

    asyncio.run(scene())

    assert done == list(range(20))


def test_what_waits_is_bounded_in_seconds_of_work() -> None:
    """One more than fits is refused before it computes, and counted; the others are answered."""
    told: Counter[str] = Counter()

    async def scene() -> tuple[list[object], Turns]:
        turns = Turns(lambda reason: told.update([reason]))
        share = LONGEST_WAIT_S / 10
        asked = (turns.run(share, lambda: "done") for _ in range(30))
        return await asyncio.gather(*asked, return_exceptions=True), turns

    ends, turns = asyncio.run(scene())
    refused = [end for end in ends if isinstance(end, ProblemError)]

    assert {problem.kind for problem in refused} == {OVERLOADED}
    assert told["overloaded"] == len(refused) > 0
    assert len(ends) - len(refused) in range(10, 13)
    assert (turns.waiting, turns.waiting_s) == (0, 0.0)


def test_who_leaves_the_queue_leaves_no_trace() -> None:
    """A caller who is cancelled while waiting is neither computed nor counted any more."""
    done: list[str] = []

    async def scene() -> Turns:
        turns = Turns(lambda _: None)
        first = asyncio.create_task(turns.run(1e-3, lambda: done.append("first")))
        second = asyncio.create_task(turns.run(1e-3, lambda: done.append("second")))
        third = asyncio.create_task(turns.run(1e-3, lambda: done.append("third")))
        await asyncio.sleep(0)
        second.cancel()
        await asyncio.gather(first, second, third, return_exceptions=True)
        return turns

    turns = asyncio.run(scene())

    assert done == ["first", "third"]
    assert turns.waiting_s == 0.0


def test_a_mistake_passes_the_turn_on() -> None:
    """What one calculation does wrong is its own."""

    async def scene() -> tuple[object, object]:
        turns = Turns(lambda _: None)
        wrong, right = await asyncio.gather(
            turns.run(1e-3, lambda: 1 // 0), turns.run(1e-3, lambda: 42), return_exceptions=True
        )
        return wrong, right

    wrong, right = asyncio.run(scene())

    assert isinstance(wrong, ZeroDivisionError)
    assert isinstance(right, tuple)
    assert right[0] == 42


def test_the_time_is_that_of_the_calculation(monkeypatch: pytest.MonkeyPatch) -> None:
    """Waiting is not part of it."""
    # Came, round began, calculation began and ended, round looked at the clock.
    ticks = iter([0.0, 0.5, 1.0, 3.5, 4.0])
    monkeypatch.setattr("loopmargin_service.http.turns.perf_counter", lambda: next(ticks))

    assert asyncio.run(Turns(lambda _: None).run(1e-3, lambda: "x")) == ("x", 2.5)


def test_who_waits_for_long_shows_that_there_is_too_much(monkeypatch: pytest.MonkeyPatch) -> None:
    """Whatever was estimated: the machine may have other work."""
    now_s = 0.0
    monkeypatch.setattr("loopmargin_service.http.turns.perf_counter", lambda: now_s)

    async def scene() -> None:
        nonlocal now_s
        turns = Turns(lambda _: None)
        first = asyncio.create_task(turns.run(1e-6, lambda: "done"))
        await asyncio.sleep(0)
        turns.require()
        now_s = 2 * LONGEST_WAIT_S
        with pytest.raises(ProblemError) as caught:
            turns.require()
        assert caught.value.kind is OVERLOADED
        await first
        turns.require()

    asyncio.run(scene())
