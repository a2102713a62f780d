"""What a cluster hands back: done here, counted by its reason, told once, forgotten in time."""

import asyncio
import logging
import pickle
from collections.abc import Callable
from typing import TypeVar, TypeVarTuple

import msgspec
import pytest
from prometheus_client import generate_latest

from loopmargin_service.http.crew import LATELY_S, BothCrews, CrewGone, HandedBack
from loopmargin_service.http.health import Readiness
from loopmargin_service.http.meters import HANDED_BACK, Meters
from loopmargin_service.http.store import AnswerStore

Ts = TypeVarTuple("Ts")
T = TypeVar("T")


class Away:
    """A crew that hands back as long as it has a reason to."""

    places = 1

    def __init__(self, *kinds: str) -> None:
        self.kinds = list(kinds)

    async def run(self, longest_s: float, do: Callable[[*Ts], T], *args: *Ts) -> T:
        """Do one task, or hand it back."""
        assert longest_s > 0.0
        if self.kinds:
            raise CrewGone("gone", self.kinds.pop(0))
        return do(*args)

    async def close(self) -> None:
        """Keep nothing."""


def degraded(handed_back: HandedBack) -> list[str]:
    """Ask what a replica does without."""
    readiness = Readiness(AnswerStore(2**20, 60), None, handed_back)
    ready = msgspec.json.decode(asyncio.run(readiness.reply()).body)
    return ready["degraded"]  # type: ignore[no-any-return]


def test_every_task_that_comes_back_is_counted_by_its_reason() -> None:
    """And done here."""
    meters = Meters()
    kinds = (*HANDED_BACK, "edition")
    both = BothCrews(Away(*kinds), Away(), HandedBack(meters.handed_back.add))

    assert [asyncio.run(both.run(1.0, int, 7)) for _ in kinds] == [7] * len(kinds)
    counts = generate_latest(meters.registry).decode()
    assert 'loopmargin_cluster_handed_back_total{reason="edition"} 2.0' in counts
    assert 'loopmargin_cluster_handed_back_total{reason="connection"} 1.0' in counts
    assert 'loopmargin_cluster_handed_back_total{reason="other"} 0.0' in counts


def test_a_replica_says_that_it_does_without_until_the_cluster_does_a_task() -> None:
    """The state begins with the first task that comes back."""
    handed_back = HandedBack()
    both = BothCrews(Away("no_workers"), Away(), handed_back)

    assert degraded(handed_back) == []
    asyncio.run(both.run(1.0, int, 7))
    assert degraded(handed_back) == ["sweep_cluster"]
    asyncio.run(both.run(1.0, int, 7))
    assert degraded(handed_back) == []


def test_what_came_back_long_ago_says_nothing_of_now() -> None:
    """Where no sweep is asked for, nobody knows."""
    now_s = [0.0]
    handed_back = HandedBack(clock=lambda: now_s[0])
    handed_back.note(CrewGone("gone"))
    now_s[0] = LATELY_S - 1.0
    assert handed_back.degraded
    now_s[0] = LATELY_S
    assert not handed_back.degraded


def test_the_log_tells_when_it_begins_and_ends(caplog: pytest.LogCaptureFixture) -> None:
    """Not each chunk."""
    handed_back = HandedBack()
    both = BothCrews(Away(*["connection"] * 5), Away(), handed_back)
    with caplog.at_level(logging.WARNING, "loopmargin"):
        for _ in range(8):
            asyncio.run(both.run(1.0, int, 7))

    assert [record.getMessage().partition(",")[0] for record in caplog.records] == [
        "sweeps are solved here",
        "sweeps are solved by the cluster again",
    ]


def test_a_reason_survives_the_way_back() -> None:
    """It is pickled in a worker of the cluster."""
    gone = pickle.loads(pickle.dumps(CrewGone("why", "edition")))  # noqa: S301 - our own

    assert (str(gone), gone.kind) == ("why", "edition")
