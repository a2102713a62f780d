"""Refusals gather where the listening process shares its core, and only while it is idle."""

import asyncio
from typing import Any

import pytest

from loopmargin_service.http import lane
from loopmargin_service.http.gathering import GATHER_S, Gathering
from loopmargin_service.http.lane import Lane


class Clock:
    """A clock that stands until somebody sleeps or works."""

    def __init__(self) -> None:
        self.now_s = 0.0
        self.slept: list[float] = []

    def __call__(self) -> float:
        """Tell the time. [s]"""
        return self.now_s

    def sleep(self, for_s: float) -> None:
        """Let time pass asleep."""
        self.slept.append(for_s)
        self.now_s += for_s


async def refused(gathering: Gathering, times: int = 1) -> None:
    """Refuse some in one round of the event loop, and let it come round."""
    for _ in range(times):
        gathering.refused()
    await asyncio.sleep(0)


def test_the_event_loop_comes_round_no_more_often_than_so() -> None:
    """Refusals that come close after each other are told apart by one pause between rounds."""
    clock = Clock()

    async def scene() -> None:
        gathering = Gathering(clock, clock.sleep)
        await refused(gathering)
        assert clock.slept == []
        clock.now_s += GATHER_S / 4
        await refused(gathering, times=5)
        assert clock.slept == [pytest.approx(0.75 * GATHER_S)]
        await refused(gathering)
        assert clock.slept[1:] == [pytest.approx(GATHER_S)]

    asyncio.run(scene())


def test_a_loop_that_works_loses_no_time() -> None:
    """Whoever was busy for as long as a pause takes none, and neither who refuses seldom."""
    clock = Clock()

    async def scene() -> None:
        gathering = Gathering(clock, clock.sleep)
        for _ in range(3):
            await refused(gathering)
            clock.now_s += GATHER_S

    asyncio.run(scene())

    assert clock.slept == []


@pytest.mark.parametrize(("cores", "times"), [(1, 1), (2, 1), (3, 0)])
def test_they_gather_where_the_workers_may_want_every_core(
    cores: int, times: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Beside two workers a third core is the listening process's own."""
    monkeypatch.setattr(lane, "usable_cores", lambda: cores)
    noted: list[None] = []
    monkeypatch.setattr(Gathering, "refused", lambda _self: noted.append(None))
    workers: Any = type("Workers", (), {"processes": 2})()

    Lane(workers, 1.0, lambda _: None).refusal()

    assert len(noted) == times
