"""Two real replicas and one Redis: equal questions at the same time are computed once each."""

import asyncio
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

import httpx
import msgspec
import pytest

from tests.faults.redis_process import redis_process
from tests.faults.service_process import ServiceProcess

EXAMPLES = Path("openapi/examples")
EQUAL = 200
JSON = {"content-type": "application/json"}
# Of a busy machine nothing is timed here; a call that waits long is no failure of the store.
PATIENT = {"redis_timeout_s": "10"}
PATIENCE = httpx.Timeout(60.0)


@pytest.fixture(scope="module")
def fleet() -> Iterator[list[str]]:
    """Run two replicas on one shared store."""
    with (
        redis_process() as redis,
        ServiceProcess(redis_url=redis.url, **PATIENT) as one,
        ServiceProcess(redis_url=redis.url, **PATIENT) as other,
    ):
        yield [one.url, other.url]


async def asked(urls: list[str], path: str, body: bytes) -> list[httpx.Response]:
    """Ask both replicas the same, all at once."""
    limits = httpx.Limits(max_connections=EQUAL)
    async with httpx.AsyncClient(limits=limits, timeout=PATIENCE) as client:
        return await asyncio.gather(
            *(
                client.post(urls[number % len(urls)] + path, content=body, headers=JSON)
                for number in range(EQUAL)
            )
        )


@pytest.mark.parametrize("name", ["radiator-area", "sweep"])
def test_equal_questions_are_computed_at_most_once_a_replica(fleet: list[str], name: str) -> None:
    """All answers are the same bytes; nearly all callers got another's calculation."""
    body = (EXAMPLES / f"{name}.question.json").read_bytes()

    responses = asyncio.run(asked(fleet, f"/v1/{name}", body))

    assert {response.status_code for response in responses} == {200}
    assert len({response.content for response in responses}) == 1
    said = Counter(response.headers["cache-status"].partition("; ")[2] for response in responses)
    assert 1 <= said["fwd=miss; stored"] <= len(fleet)
    assert set(said) <= {"fwd=miss; stored", "fwd=miss; collapsed", "hit"}


def test_a_caller_who_leaves_spoils_nothing_for_the_others(fleet: list[str]) -> None:
    """The first of several hangs up while the question is computed."""
    question = msgspec.json.decode((EXAMPLES / "sweep.question.json").read_bytes())
    question["machine"]["rest_w"] = 21.125
    body = msgspec.json.encode(question)

    async def scene() -> list[httpx.Response]:
        async with httpx.AsyncClient(timeout=PATIENCE, headers=JSON) as client:
            calls = [
                asyncio.create_task(client.post(f"{fleet[0]}/v1/sweep", content=body))
                for _ in range(6)
            ]
            await asyncio.sleep(0.05)
            calls[0].cancel()
            return await asyncio.gather(*calls[1:])

    responses = asyncio.run(scene())

    assert {response.status_code for response in responses} == {200}
    assert len({response.content for response in responses}) == 1
