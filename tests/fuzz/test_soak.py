"""Very many requests of every sort, one after the other for long: nothing grows, nothing is left.

Stored and new questions, wrong ones, long ones, callers who leave, and a shared store that
hangs up now and then.
"""

import asyncio
import re
import sys
from collections import Counter
from collections.abc import Callable
from pathlib import Path
from random import Random
from typing import NamedTuple

import httpx
import msgspec
import pytest
from redis import Redis

from tests.faults.redis_process import redis_process
from tests.faults.replica import eventually
from tests.faults.service_process import ServiceProcess
from tests.fuzz.amount import FIRST_SEED, SOAK_REQUESTS, Progress
from tests.fuzz.resources import open_files, resident_bytes
from tests.fuzz.soak_server import TASKS_PATH

CONNECTIONS = 8
HANG_UP_EVERY = 20_000
# Full long before the warm-up ends.
SETTINGS = {"store_bytes": str(2 * 2**20), "log_share": "0"}
EXAMPLES = Path("openapi/examples")
LENGTH = re.compile(rb"\r\ncontent-length: (\d+)\r\n", re.IGNORECASE)
Fields = dict[str, object]


def example(name: str) -> Fields:
    """Read an example question."""
    question: Fields = msgspec.json.decode((EXAMPLES / f"{name}.question.json").read_bytes())
    return question


HEADROOM, SWEEP = example("supply-headroom"), example("sweep")


def stored(random: Random) -> tuple[str, bytes]:
    """Ask one of a few questions."""
    return "supply-headroom", msgspec.json.encode(
        {**HEADROOM, "rest_w": 10.0 + random.randrange(20)}
    )


def new(random: Random) -> tuple[str, bytes]:
    """Ask something that nobody has asked."""
    return "supply-headroom", msgspec.json.encode({**HEADROOM, "rest_w": 10.0 + random.random()})


def wrong(random: Random) -> tuple[str, bytes]:
    """Ask what is refused."""
    body = msgspec.json.encode({**HEADROOM, "rest_w": -1.0})
    return "supply-headroom", random.choice((body, body[:-2], b"[" * 500, b"\xff"))


def long(random: Random) -> tuple[str, bytes]:
    """Ask for a whole grid of machines."""
    machine = {**SWEEP["machine"], "rest_w": 10.0 + random.random()}  # type: ignore[dict-item]
    return "sweep", msgspec.json.encode({**SWEEP, "machine": machine})


Mix = dict[Callable[[Random], tuple[str, bytes]], float]
# The rare ones are as many in the warm-up as later in all, so that each has had its most memory.
WARM_UP: Mix = {stored: 19.0, new: 30.0, wrong: 50.0, long: 1.0}
MIX: Mix = {stored: 70.0, new: 20.0, wrong: 9.8, long: 0.2}


class Service(NamedTuple):
    """What is looked at."""

    process: ServiceProcess
    redis: Redis

    def files(self) -> int:
        """Count what it has open."""
        return open_files(self.process.process.pid)

    def tasks(self) -> int:
        """Count the tasks of its event loop, while nobody asks for anything else."""
        return int(httpx.get(self.process.url + TASKS_PATH).text)


async def asked(
    streams: tuple[asyncio.StreamReader, asyncio.StreamWriter], path: str, body: bytes
) -> int:
    """Ask over a connection that stays open; give the status."""
    reader, writer = streams
    head = (
        f"POST /v1/{path} HTTP/1.1\r\nhost: service.test\r\n"
        f"content-type: application/json\r\ncontent-length: {len(body)}\r\n\r\n"
    )
    writer.write(head.encode() + body)
    answer = await reader.readuntil(b"\r\n\r\n")
    length = LENGTH.search(answer)
    assert length, answer
    await reader.readexactly(int(length[1]))
    return int(answer[9:12])


async def load(
    service: Service, mix: Mix, requests: int, seed: int, progress: Progress
) -> Counter[int]:
    """Keep a few connections busy; now and then one of them leaves before its answer."""
    random = Random(seed)  # noqa: S311 - has to be repeatable
    left, statuses, url = iter(range(requests)), Counter[int](), httpx.URL(service.process.url)

    async def connection() -> None:
        streams = await asyncio.open_connection(url.host, url.port)
        for number in left:
            path, body = random.choices(list(mix), list(mix.values()))[0](random)
            asking = asyncio.create_task(asked(streams, path, body))
            if random.random() < 0.002:
                await asyncio.sleep(0.001)
                asking.cancel()
                await asyncio.gather(asking, return_exceptions=True)
                streams[1].transport.abort()
                streams = await asyncio.open_connection(url.host, url.port)
                continue
            statuses[await asking] += 1
            progress.count("soak")
            if number % HANG_UP_EVERY == HANG_UP_EVERY - 1:
                await asyncio.to_thread(service.redis.execute_command, "CLIENT KILL TYPE normal")
        streams[1].close()

    await asyncio.gather(*(connection() for _ in range(CONNECTIONS)))
    return statuses


@pytest.mark.long
def test_nothing_grows_and_nothing_is_left(capsys: pytest.CaptureFixture[str]) -> None:
    """Memory within 5 % of what it was after the first fifth; files and tasks as before."""
    progress, fifth = Progress(), SOAK_REQUESTS // 5
    with (
        redis_process() as server,
        ServiceProcess(
            module="tests.fuzz.soak_server", redis_url=server.url, **SETTINGS
        ) as process,
        Redis(port=server.port) as redis,
    ):
        service, pid = Service(process, redis), process.process.pid
        asyncio.run(load(service, WARM_UP, fifth, FIRST_SEED, progress))
        files, tasks, before = service.files(), service.tasks(), resident_bytes(pid)
        rest = load(service, MIX, SOAK_REQUESTS - fifth, FIRST_SEED + 1, progress)
        statuses = asyncio.run(rest)
        # Every caller may have opened one more connection to the shared store.
        eventually(lambda: service.files() <= files + CONNECTIONS and service.tasks() <= tasks)
        after = resident_bytes(pid)
    with capsys.disabled():
        sys.stdout.write(
            f"\nseed {FIRST_SEED}, {SOAK_REQUESTS} requests, by status {dict(statuses)}; "
            f"{before / 2**20:.1f} MB, then {after / 2**20:.1f} MB; {files} files, {tasks} tasks\n"
        )
    assert set(statuses) <= {200, 400, 422, 503}
    assert after < 1.05 * before
