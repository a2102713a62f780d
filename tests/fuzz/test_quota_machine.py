"""Any order of charges and illnesses of Redis, on a virtual clock: a quota stays bounded.

Two replicas charge one caller through the shared keeper, and each by itself while that is
away. While it is well the quota is exact over both; whatever it does, at most as much
again is let in, and no charge waits longer than one call.
"""

import asyncio
from typing import Any

import pytest
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule

from loopmargin_service.http.quota import US, Meter, Policy, charge, share
from loopmargin_service.http.redis_link import CALL_TIMEOUT_S, GRACE_S, Breaker, RedisLink
from loopmargin_service.http.redis_quota import SCRIPT, RedisQuota
from tests.fuzz.amount import EXAMPLES
from tests.unit.http.server_in_memory import ILLNESSES, Illness, ServerInMemory
from tests.virtual_time import now_s, runner

REPLICAS = 2
QUOTA = Policy(US // 5, 64)
SHARE = share(QUOTA, REPLICAS)
# More than a share holds: let in when that is full but for one unit, and then a debt.
LARGEST = 40
MOMENT_S = 1e-6
# A server that forgets everything gives everybody a fresh start.
REMEMBERING = [illness for illness in ILLNESSES if illness != "loses"]


def now_us() -> int:
    """Tell the time of the loop as the service counts it."""
    return int(now_s() * US)


def most_units(quota: Policy, passed_us: int) -> float:
    """Give what one bucket lets in at most: all it holds, what comes back, and one debt."""
    debt = max(0, LARGEST - (quota.burst_units - 1))
    return quota.burst_units + passed_us / quota.interval_us + debt


class QuotaServer(ServerInMemory):
    """Does what the script does; that the script does so is tested with a real server."""

    async def eval(self, script: str, _keys: int, key: str, *arguments: str) -> Any:  # noqa: ANN401 - a reply
        """Charge a bucket."""
        assert script == SCRIPT
        await self._reached(writes=True)
        interval, burst, units, ahead, _, in_hand = map(int, arguments)
        quota, held = Policy(interval, burst), self._value(key)
        moment, standing = charge(int(held or 0), now_us(), quota, units, in_hand)
        if not standing.admitted:
            return [0, standing.left_units, standing.wait_us, 0]
        further, _ = charge(moment, now_us(), quota, ahead)
        roomy = quota.full_us - (further - now_us()) >= quota.full_us // 2
        moment, ahead = (further, ahead) if roomy else (moment, 0)
        self.values[key] = (str(moment).encode(), now_s() + (moment - now_us()) / US + 1.0)
        left = max(0, (quota.full_us - (moment - now_us())) // interval)
        return [1, left, standing.wait_us, ahead]


class QuotaMachine(RuleBasedStateMachine):
    """Draws charges, illnesses and waiting."""

    @initialize()
    def begin(self) -> None:
        """Set up a fleet and a caller who has used nothing."""
        self.runner = runner()
        self.server: Any = QuotaServer()
        self.meters = self.runner.run(self._fleet())
        self.admitted = 0
        self.ever_ill = False
        self.longest_s = 0.0
        self.runner.run(asyncio.sleep(1000.0))
        self.began_us = self.runner.run(self._now_us())

    @rule(
        which=st.integers(0, REPLICAS - 1),
        units=st.sampled_from([1, 1, 2, 7, LARGEST]),
        many=st.integers(1, 30),
    )
    def spend(self, which: int, units: int, many: int) -> None:
        """Charge several times at once."""
        self.runner.run(self._spend(self.meters[which], units, many))

    @rule(seconds=st.sampled_from([0.01, 0.3, 1.1, 20.0]))
    def wait(self, seconds: float) -> None:
        """Let time pass."""
        self.runner.run(asyncio.sleep(seconds))

    @rule(illness=st.sampled_from(REMEMBERING))
    def fall_ill(self, illness: Illness) -> None:
        """Let the server do something else from now on."""
        self.server.illness = illness
        self.ever_ill = self.ever_ill or illness != "well"

    @invariant()
    def no_more_is_let_in_than_may_be(self) -> None:
        """Exactly the quota while all is well, and at most the shares of all beside it."""
        if not hasattr(self, "runner"):
            return
        passed_us = self.runner.run(self._now_us()) - self.began_us
        most = most_units(QUOTA, passed_us)
        if self.ever_ill:
            most += REPLICAS * most_units(SHARE, passed_us)
        assert self.admitted <= most
        assert self.longest_s <= CALL_TIMEOUT_S + GRACE_S + MOMENT_S

    def teardown(self) -> None:
        """Close the loop."""
        if hasattr(self, "runner"):
            self.runner.close()

    async def _fleet(self) -> list[Meter]:
        links = [RedisLink(self.server, breaker=Breaker(clock=now_s)) for _ in range(REPLICAS)]
        return [Meter(RedisQuota(link), REPLICAS, now_us) for link in links]

    async def _now_us(self) -> int:
        return now_us()

    async def _spend(self, meter: Meter, units: int, many: int) -> None:
        start_s = now_s()
        standings = await asyncio.gather(*(meter.take("c", QUOTA, units) for _ in range(many)))
        self.admitted += units * sum(standing.admitted for standing in standings)
        self.longest_s = max(self.longest_s, now_s() - start_s)


TestQuotaMachine = QuotaMachine.TestCase
TestQuotaMachine.settings = settings(max_examples=40, stateful_step_count=25, print_blob=True)


class TestQuotaMachineForLong(QuotaMachine.TestCase):
    """The same with many more."""

    pytestmark = pytest.mark.long
    settings = settings(max_examples=EXAMPLES, stateful_step_count=50, print_blob=True)
