"""Any order of questions, leavers, failures and illnesses of Redis, on a virtual clock.

Two replicas with store, single flight, breaker and leases before one server. Whatever
happens: answers are right, nobody gets another's misfortune, nothing hangs, nobody waits
longer than the deadlines allow, and a server that is well again is used again.
"""

import asyncio
from typing import Any, NamedTuple

import pytest
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule

from loopmargin_service.http.once import (
    LEASE_LEAST_S,
    LEASE_PER_WORK,
    POLL_S,
    WORTH_A_LEASE_S,
    Given,
    Once,
)
from loopmargin_service.http.redis_link import CALL_TIMEOUT_S, GRACE_S, PAUSE_S, Breaker, RedisLink
from loopmargin_service.http.redis_store import RedisStore
from loopmargin_service.http.store import AnswerStore
from loopmargin_service.questions.refusals import Fault, Refusal
from tests.fuzz.amount import EXAMPLES
from tests.unit.http.server_in_memory import ILLNESSES, Illness, ServerInMemory
from tests.virtual_time import now_s, runner

SHORT_S, LONG_S = 0.004, 1.0
MOMENT_S = 1e-6
CALL_S = CALL_TIMEOUT_S + GRACE_S
REFUSED = "refused"
NAMES = st.sampled_from(["a", "b", REFUSED])


class OutOfLuckError(Exception):
    """A calculation failed for a reason of the moment."""


class Ended(NamedTuple):
    """How and when a question ended."""

    given: Given | Exception
    at_s: float


class Call(NamedTuple):
    """A question that was asked, when, and what it waits for."""

    name: str
    since_s: float
    work_s: float
    task: "asyncio.Task[Ended]"


class Replica:
    """One process; it holds little, so that the server matters."""

    def __init__(self, server: Any) -> None:  # noqa: ANN401 - stands in for the client
        self.link = RedisLink(server, breaker=Breaker(clock=now_s))
        shared = RedisStore(self.link, "2026.1", 60)
        self.store = AnswerStore(1000, 5, shared, clock=now_s)
        self.once = Once(self.store)
        self.computing: list[tuple[str, float]] = []
        self.unlucky = 0
        self.failed = 0

    async def compute(self, name: str, work_s: float) -> bytes:
        """Take as long as was said, and fail when it is to fail."""
        assert (name, work_s) not in self.computing, "computed twice at the same time"
        self.computing.append((name, work_s))
        try:
            await asyncio.sleep(work_s)
        finally:
            self.computing.remove((name, work_s))
        if name == REFUSED:
            raise Refusal(Fault(("name",), "name is refused."))
        if self.unlucky:
            self.unlucky -= 1
            self.failed += 1
            raise OutOfLuckError
        return name.encode()


class StoreMachine(RuleBasedStateMachine):
    """Draws what happens; hypothesis prints the steps and how to repeat them when one fails."""

    @initialize()
    def begin(self) -> None:
        """Set up an empty fleet."""
        self.runner = runner()
        self.server = ServerInMemory()
        self.fleet = self.runner.run(self._fleet())
        self.calls: list[Call] = []
        self.seen = 0

    @rule(name=NAMES, which=st.integers(0, 1), many=st.integers(1, 4), long=st.booleans())
    def ask(self, name: str, which: int, many: int, *, long: bool) -> None:
        """Let several callers ask one replica the same."""
        self.runner.run(self._ask(name, self.fleet[which], many, LONG_S if long else SHORT_S))

    @precondition(lambda self: self.calls)
    @rule(data=st.data())
    def leave(self, data: st.DataObject) -> None:
        """Let one caller hang up."""
        call = self.calls.pop(data.draw(st.integers(0, len(self.calls) - 1)))
        call.task.cancel()

    @rule(seconds=st.sampled_from([0.0, 0.001, 0.02, 0.05, 0.5, 1.1, 6.0, 70.0]))
    def wait(self, seconds: float) -> None:
        """Let time pass."""
        self.runner.run(asyncio.sleep(seconds))

    @rule(illness=st.sampled_from(ILLNESSES))
    def fall_ill(self, illness: Illness) -> None:
        """Let the server do something else from now on."""
        self.server.illness = illness

    @rule(change=st.sampled_from([lambda value: value[:-1], lambda value: value + b"x"]))
    def damage(self, change: Any) -> None:  # noqa: ANN401 - a function of bytes
        """Let somebody write over what stands in the server."""
        self.server.damage(change)

    @rule(which=st.integers(0, 1))
    def have_bad_luck(self, which: int) -> None:
        """Let the next calculation of a replica fail."""
        self.fleet[which].unlucky += 1

    @invariant()
    def answers_are_right(self) -> None:
        """Look at whatever has ended, and how long it took."""
        for call in [call for call in self.calls if call.task.done()]:
            self.calls.remove(call)
            self._judge(call)
        assert self.seen <= sum(replica.failed for replica in self.fleet)

    def teardown(self) -> None:
        """Let the server get well: everything ends, nothing is left, the store is used again."""
        if not hasattr(self, "runner"):
            return
        with self.runner:
            self.server.illness = "well"
            self.runner.run(asyncio.sleep(200.0))
            self.answers_are_right()
            assert self.calls == []
            for replica in self.fleet:
                replica.unlucky = 0
                self.server.values.clear()
                self.runner.run(self._recovered(replica))

    async def _fleet(self) -> list[Replica]:
        return [Replica(self.server), Replica(self.server)]

    async def _ask(self, name: str, replica: Replica, many: int, work_s: float) -> None:
        for _ in range(many):
            task = asyncio.create_task(_ended(replica, name, work_s))
            self.calls.append(Call(name, now_s(), work_s, task))

    def _judge(self, call: Call) -> None:
        """Hold the end of a question against what may become of it."""
        given, at_s = call.task.result()
        if isinstance(given, OutOfLuckError):
            self.seen += 1
        elif isinstance(given, Refusal):
            assert call.name == REFUSED
        else:
            assert isinstance(given, Given), given
            assert given.answer == call.name.encode()
        if all(replica.failed == 0 for replica in self.fleet):
            assert at_s - call.since_s <= longest_s(call.work_s)

    async def _recovered(self, replica: Replica) -> None:
        """Ask three times, a pause apart: the first may find the store away, the last not."""
        for name in ("first", "second"):
            await _ended(replica, name, SHORT_S)
            await asyncio.sleep(PAUSE_S)
        given = (await _ended(replica, "third", SHORT_S)).given
        assert given == Given(b"third", "computed")
        assert (replica.link.degraded, replica.link.breaker.closed) == (False, True)
        assert (len(replica.once), replica.computing) == (0, [])


async def _ended(replica: Replica, name: str, work_s: float) -> Ended:
    """Ask, and say how and when it ended."""
    try:
        given: Given | Exception = await replica.once.answer(
            f"{name} {work_s}", lambda: replica.compute(name, work_s), work_s
        )
    except (OutOfLuckError, Refusal) as error:
        given = error
    return Ended(given, now_s())


def longest_s(work_s: float) -> float:
    """Give the longest that a question may take while no calculation fails."""
    if work_s < WORTH_A_LEASE_S:
        return work_s + 2.0 * CALL_S + MOMENT_S
    lease_s = LEASE_LEAST_S + LEASE_PER_WORK * work_s
    # Looking up, a last look at lease and answer, storing and giving back.
    return lease_s + POLL_S + work_s + 5.0 * CALL_S + MOMENT_S


TestStoreMachine = StoreMachine.TestCase
TestStoreMachine.settings = settings(max_examples=60, stateful_step_count=30, print_blob=True)


class TestStoreMachineForLong(StoreMachine.TestCase):
    """The same with many more."""

    pytestmark = pytest.mark.long
    settings = settings(max_examples=EXAMPLES, stateful_step_count=60, print_blob=True)
