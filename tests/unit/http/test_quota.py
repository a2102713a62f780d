"""The arithmetic of a quota: never more than its rate and its burst, never less for long."""

import asyncio

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from loopmargin_service.http.quota import (
    AHEAD_US,
    LONGEST_DEBT_US,
    MOST_CALLERS,
    US,
    LocalQuota,
    Meter,
    Policy,
    Standing,
    charge,
    policy,
    units_of,
)
from loopmargin_service.http.store import Unavailable

POLICIES = st.builds(policy, st.integers(1, 600_000), st.integers(2, 2000))
STEPS = st.lists(st.tuples(st.integers(0, 5 * US), st.integers(1, 50)), max_size=60)


class Clock:
    """A clock that a test moves."""

    def __init__(self) -> None:
        self.now_us = 10 * US

    def __call__(self) -> int:
        """Tell the time."""
        return self.now_us


class Shared:
    """A shared keeper on the same arithmetic; it can be taken away."""

    def __init__(self, clock: Clock) -> None:
        self._local = LocalQuota(clock)
        self.away = False
        self.asked = 0

    async def take(
        self, caller: str, quota: Policy, units: int, ahead: int, held: int = 0
    ) -> Standing:
        """Charge as the server does."""
        self.asked += 1
        if self.away:
            raise Unavailable
        standing = self._local.take(caller, quota, units, held)
        if not standing.admitted or standing.left_units - ahead < quota.burst_units / 2:
            return standing
        return (
            self._local.take(caller, quota, ahead)._replace(ahead_units=ahead)
            if ahead
            else standing
        )


@given(quota=POLICIES, steps=STEPS)
def test_no_stretch_of_time_lets_in_more_than_rate_and_burst(
    quota: Policy, steps: list[tuple[int, int]]
) -> None:
    """Units let in between any two moments are bounded, each charge of less than the burst."""
    moment, now_us, let_in = 0, US, []
    for pause_us, units in steps:
        now_us += pause_us
        asked = min(units, quota.burst_units - 1)
        moment, standing = charge(moment, now_us, quota, asked)
        if standing.admitted:
            let_in.append((now_us, asked))
    for first, (start_us, _) in enumerate(let_in):
        total = 0
        for end_us, units in let_in[first:]:
            total += units
            assert total <= quota.burst_units + (end_us - start_us) / quota.interval_us


@given(quota=POLICIES, steps=STEPS)
def test_waiting_as_told_is_enough_and_just_enough(
    quota: Policy, steps: list[tuple[int, int]]
) -> None:
    """A charge that was refused is let in after the time told, and not a moment before."""
    moment, now_us = 0, US
    for pause_us, units in steps:
        now_us += pause_us
        moment, standing = charge(moment, now_us, quota, units)
        if not standing.admitted:
            _, early = charge(moment, now_us + standing.wait_us - 1, quota, units)
            _, then = charge(moment, now_us + standing.wait_us, quota, units)
            assert (early.admitted, then.admitted) == (False, True)


def test_a_charge_larger_than_the_bucket_waits_for_a_full_one_and_leaves_a_debt() -> None:
    """So that a large question is possible, and the rate still holds in the long run."""
    quota = Policy(US, 10)
    moment, first = charge(0, US, quota, 35)
    _, next_one = charge(moment, US, quota, 1)

    assert (first.admitted, first.left_units) == (True, 0)
    assert (next_one.admitted, next_one.wait_us) == (False, 26 * US)


@given(quota=POLICIES, units=st.integers(1, 5000), spent=st.integers(0, 2000))
def test_any_question_is_possible_after_the_time_that_its_refusal_tells(
    quota: Policy, units: int, spent: int
) -> None:
    """A request pays its unit each time; the wait told to the question counts that in."""
    now_us = US
    moment = now_us + min(spent, quota.burst_units) * quota.interval_us
    moment, request = charge(moment, now_us, quota, 1)
    moment, question = charge(moment, now_us, quota, units)
    if request.admitted and not question.admitted:
        now_us += question.wait_us + quota.interval_us
        moment, request = charge(moment, now_us, quota, 1)
        _, question = charge(moment, now_us, quota, units)

        assert (request.admitted, question.admitted) == (True, True)


def test_a_rate_is_never_rounded_up() -> None:
    """The time of one unit is."""
    assert policy(7, 1).interval_us * 7 >= 60 * US


@pytest.mark.parametrize(
    ("work_s", "units"), [(0.0, 1), (0.001, 1), (0.01, 1), (0.0101, 2), (1, 100)]
)
def test_work_in_units(work_s: float, units: int) -> None:
    """A begun unit counts, and a request is at least one."""
    assert units_of(work_s) == units


def test_a_moment_out_of_all_reason_is_not_believed() -> None:
    """A shared clock that was turned back must not lock everybody out for good."""
    _, standing = charge(10**15, 0, Policy(US, 5), 1)

    assert standing.wait_us == LONGEST_DEBT_US + US


def test_callers_have_buckets_of_their_own() -> None:
    """One who has spent all takes nothing from another."""
    local = LocalQuota(Clock())
    quota = Policy(US, 2)

    assert [local.take(caller, quota, 2).admitted for caller in ("a", "a", "b")] == [1, 0, 1]


def test_the_memory_of_callers_is_bounded() -> None:
    """Those who have not asked for longest are forgotten."""
    local = LocalQuota(Clock())
    for number in range(MOST_CALLERS + 10):
        local.take(str(number), Policy(US, 2), 2)

    assert local.take("0", Policy(US, 2), 2).admitted
    assert not local.take(str(MOST_CALLERS), Policy(US, 2), 2).admitted


def admitted(meter: Meter, quota: Policy, times: int, units: int = 1) -> int:
    """Count how many of some charges in a row are let in."""

    async def run() -> int:
        standings = [await meter.take("a", quota, units) for _ in range(times)]
        return sum(standing.admitted for standing in standings)

    return asyncio.run(run())


@pytest.mark.parametrize(("replicas", "let_in"), [(1, 64), (4, 16), (1000, 2)])
def test_alone_a_process_grants_its_part(replicas: int, let_in: int) -> None:
    """All replicas together grant no more than the whole, and one always something."""
    assert admitted(Meter(None, replicas, Clock()), Policy(US, 64), 200) == let_in


def test_what_is_not_shared_is_told() -> None:
    """Only where there is more than one replica."""

    async def local(replicas: int) -> bool:
        return (await Meter(None, replicas, Clock()).take("a", Policy(US, 5), 1)).local

    assert [asyncio.run(local(replicas)) for replicas in (1, 2)] == [False, True]


@pytest.mark.parametrize("burst", [2, 10, 64, 640])
def test_the_shared_quota_is_granted_to_the_last_unit(burst: int) -> None:
    """What was fetched ahead is spent before anybody is refused."""
    clock = Clock()

    assert admitted(Meter(Shared(clock), 1, clock), Policy(US, burst), 2 * burst) == burst


def test_most_small_charges_need_no_word_with_the_shared_keeper() -> None:
    """While the bucket is more than half full."""
    clock = Clock()
    shared = Shared(clock)
    admitted(Meter(shared, 1, clock), Policy(US, 640), 300)

    assert shared.asked < 30


@pytest.mark.parametrize("burst", [40, 640])
def test_a_question_larger_than_the_bucket_is_let_in_when_all_is_there(burst: int) -> None:
    """Units that its own request fetched ahead are there, too, and pay first."""
    clock = Clock()
    shared = Shared(clock)
    meter = Meter(shared, 1, clock)
    quota = Policy(US, burst)

    assert admitted(meter, quota, 1) == 1
    large = asyncio.run(meter.take("a", quota, 3 * burst))
    clock.now_us += 2 * burst * US
    early = asyncio.run(meter.take("a", quota, 1))
    clock.now_us += 2 * US

    assert (large.admitted, early.admitted) == (True, False)
    assert admitted(meter, quota, 5) == 1


def test_a_refusal_leaves_what_is_held_ahead() -> None:
    """It is told as left, and small charges still spend it without a word."""
    clock = Clock()
    shared = Shared(clock)
    meter = Meter(shared, 1, clock)
    quota = Policy(US, 640)
    admitted(meter, quota, 1)
    asyncio.run(shared.take("a", quota, 300, 0))
    refused = asyncio.run(meter.take("a", quota, 400))
    asked = shared.asked

    assert (refused.admitted, refused.left_units) == (False, 640 - 1 - 300)
    assert admitted(meter, quota, 640 // 32) == 640 // 32
    assert shared.asked == asked


def test_what_was_fetched_ahead_goes_stale() -> None:
    """Then it is lost, and never granted twice."""
    clock = Clock()
    shared = Shared(clock)
    meter = Meter(shared, 1, clock)
    admitted(meter, Policy(1000 * US, 640), 1)
    clock.now_us += AHEAD_US + 1
    admitted(meter, Policy(1000 * US, 640), 1)

    assert shared.asked == 2
    assert admitted(meter, Policy(1000 * US, 640), 1000) <= 640 - 2 - 20


def test_losing_the_shared_keeper_gives_no_fresh_start() -> None:
    """What a process let in while it was there counts against its part."""
    clock = Clock()
    shared = Shared(clock)
    meter = Meter(shared, 2, clock)
    quota = Policy(US, 64)
    before = admitted(meter, quota, 40)
    shared.away = True

    assert before == 40
    assert admitted(meter, quota, 100) == 0
    clock.now_us += 2 * US
    assert admitted(meter, quota, 100) == 1


@settings(max_examples=50, deadline=None)
@given(away=st.lists(st.booleans(), min_size=1, max_size=40), replicas=st.integers(1, 4))
def test_a_keeper_that_comes_and_goes_keeps_the_bound(away: list[bool], replicas: int) -> None:
    """Twice the quota at most: once from the keeper, once from the parts without it."""
    clock = Clock()
    shared = Shared(clock)
    meters = [Meter(shared, replicas, clock) for _ in range(replicas)]
    quota = Policy(1000 * US, 32)
    let_in = 0
    for gone in away:
        shared.away = gone
        let_in += sum(admitted(meter, quota, 5) for meter in meters)

    assert let_in <= 2 * 32
