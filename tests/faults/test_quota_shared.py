"""Quotas that replicas share: exact over all of them, bounded when what they share is gone."""

import asyncio
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack
from pathlib import Path

import httpx
import pytest

from loopmargin_service.http.quota import US, Policy, Standing
from loopmargin_service.http.redis_link import RedisLink, client
from loopmargin_service.http.redis_quota import RedisQuota
from tests.faults.redis_process import RedisProcess, redis_process
from tests.faults.service_process import ServiceProcess
from tests.unit.http.test_keys import SECRET, line

BURST = 40
PATIENCE_S = 10.0
# Longer than any answer of a server that is there takes on a busy machine: one that is taken for
# lost has its part granted twice, once by the server and once by the replica.
DEADLINE_S = 2.0
KEY = {"authorization": f"Bearer bench.{SECRET}"}
NEVER = Policy(100_000 * US, BURST)
# Caller, quota, units, units wanted ahead, and units held ahead from before.
Charge = tuple[str, Policy, int, int] | tuple[str, Policy, int, int, int]


@pytest.fixture
def redis() -> Iterator[RedisProcess]:
    """Run a private server."""
    with redis_process() as server:
        yield server


@pytest.fixture
def replicas(redis: RedisProcess, tmp_path: Path) -> Iterator[list[ServiceProcess]]:
    """Run two replicas on one server; their key may ask 40 times and then once a minute."""
    keys = tmp_path / "keys.jsonl"
    keys.write_text(line("bench", units_per_min=1, burst_units=BURST))
    with ExitStack() as stack:
        yield [
            stack.enter_context(
                ServiceProcess(
                    keys_file=str(keys),
                    redis_url=redis.url,
                    redis_timeout_s=str(DEADLINE_S),
                    replicas="2",
                )
            )
            for _ in range(2)
        ]


def taken(redis: RedisProcess, *charges: Charge) -> list[Standing]:
    """Make some charges from one process, all at once."""

    async def run() -> list[Standing]:
        link = RedisLink(client(redis.url, PATIENCE_S), PATIENCE_S)
        quota = RedisQuota(link)
        standings = await asyncio.gather(*(quota.take(*charge) for charge in charges))
        await link.close()
        return list(standings)

    return asyncio.run(run())


def test_charges_at_once_are_admitted_to_the_last_unit(redis: RedisProcess) -> None:
    """None is counted twice and none is lost, whoever makes it."""
    standings = taken(redis, *[("a", NEVER, 1, 0)] * (2 * BURST))

    assert [one.admitted for one in standings].count(True) == BURST
    assert {one.left_units for one in standings if one.admitted} == set(range(BURST))


def test_the_script_is_the_arithmetic_of_the_process(redis: RedisProcess) -> None:
    """A debt, a wait and a bucket of one's own, as `quota.charge` gives them."""
    quota = Policy(US, 10)
    (large,) = taken(redis, ("a", quota, 35, 0))
    (small,) = taken(redis, ("a", quota, 1, 0))
    (other,) = taken(redis, ("b", quota, 3, 0))

    assert (large.admitted, large.left_units) == (True, 0)
    assert 25 * US < large.wait_us <= 26 * US
    assert not small.admitted
    assert 20 * US < small.wait_us <= 26 * US
    assert (other.admitted, other.left_units) == (True, 7)


def test_what_is_held_ahead_pays_first(redis: RedisProcess) -> None:
    """A bucket from which 4 units were fetched ahead still lets in what is larger than it."""
    quota = Policy(100 * US, 10)
    fetched, large = (
        taken(redis, charge)[0] for charge in (("a", quota, 1, 4), ("a", quota, 35, 0, 4))
    )
    refused = taken(redis, ("a", quota, 5, 0, 2))[0]

    assert (fetched.admitted, fetched.ahead_units) == (True, 4)
    assert (large.admitted, large.left_units) == (True, 0)
    assert 2600 * US < large.wait_us <= 2700 * US
    assert (refused.admitted, refused.left_units) == (False, 2)


def test_units_ahead_are_given_from_the_upper_half_only(redis: RedisProcess) -> None:
    """And they are charged."""
    standings = [one for _ in range(6) for one in taken(redis, ("a", NEVER, 1, 6))]

    assert [one.ahead_units for one in standings] == [6, 6, 0, 0, 0, 0]
    assert [one.left_units for one in standings] == [33, 26, 25, 24, 23, 22]


@pytest.mark.parametrize("value", ["rubbish", "nan", "inf", "-1", "9" * 18])
def test_a_foreign_value_is_no_quota(redis: RedisProcess, value: str) -> None:
    """Nobody is let in for ever by it, nor kept out for more than an hour or so."""
    _put(redis, "loopmargin:quota:a", value)
    standings = taken(redis, *[("a", Policy(100 * US, 5), 1, 0)] * 7)

    admitted = [one.admitted for one in standings].count(True)
    assert admitted in {0, 5}
    assert max(one.wait_us for one in standings) <= 4200 * US


def _put(redis: RedisProcess, name: str, value: str) -> None:
    async def run() -> None:
        link = RedisLink(client(redis.url, PATIENCE_S), PATIENCE_S)
        await link.call(lambda redis: redis.set(name, value))
        await link.close()

    asyncio.run(run())


def asked(replica: ServiceProcess, times: int) -> list[httpx.Response]:
    """Ask a replica for something that costs one unit and is not there."""
    with httpx.Client(base_url=replica.url, headers=KEY, timeout=20.0) as client:
        return [client.get("/v1/answers/none") for _ in range(times)]


def hammered(replicas: list[ServiceProcess], times: int) -> list[httpx.Response]:
    """Ask both replicas over several connections at once."""
    with ThreadPoolExecutor(4) as threads:
        rounds = threads.map(lambda replica: asked(replica, times), [*replicas, *replicas])
        return [response for one in rounds for response in one]


def statuses(responses: list[httpx.Response]) -> dict[int, int]:
    """Count statuses."""
    found = [response.status_code for response in responses]
    return {status: found.count(status) for status in sorted(set(found))}


def test_two_replicas_let_in_what_one_would(replicas: list[ServiceProcess]) -> None:
    """The burst and what a minute adds, and not a request more."""
    begun = time.monotonic()
    counted = statuses(hammered(replicas, 30))
    added = int((time.monotonic() - begun) // 60) + 1

    assert set(counted) == {404, 429}
    # What a replica fetched ahead and did not use in time is lost, from the upper half.
    assert BURST / 2 <= counted[404] <= BURST + added


def test_losing_the_server_keeps_the_bound(
    replicas: list[ServiceProcess], redis: RedisProcess
) -> None:
    """Each replica goes on with its part, says so, and makes nobody wait."""
    before = statuses(hammered(replicas, 5))
    redis.stop()
    responses = hammered(replicas, 30)
    after = statuses(responses)

    assert before == {404: 20}
    assert set(after) == {404, 429}
    assert before[404] + after[404] <= 2 * BURST
    assert ";loopmargin-local" in responses[-1].headers["ratelimit"]
    assert "retry-after" in responses[-1].headers


def test_a_server_that_hangs_costs_one_deadline_and_not_one_a_request(
    replicas: list[ServiceProcess], redis: RedisProcess
) -> None:
    """The quota waits behind the same breaker as the answers do."""
    asked(replicas[0], 1)
    redis.freeze()
    try:
        begun = time.monotonic()
        responses = asked(replicas[0], 60)
        passed_s = time.monotonic() - begun
    finally:
        redis.thaw()

    assert len(responses) == 60
    # Two minutes, had each request waited for its own.
    assert passed_s < 10 * DEADLINE_S
