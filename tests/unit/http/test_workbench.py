"""Long calculations queue beside the event loop, a bounded few, and short ones go on."""

import asyncio
import threading
import time

import pytest

from loopmargin_service.http.problems import BUSY, ProblemError
from loopmargin_service.http.workbench import Workbench


def test_the_event_loop_runs_on_while_a_long_calculation_works() -> None:
    """Other work of the loop is done before the calculation ends."""
    release = threading.Event()

    def long_one(number: int) -> int:
        assert release.wait(5.0)
        return number * 2

    async def scene() -> int:
        bench = Workbench()
        waiting = asyncio.create_task(bench.run(long_one, 21))
        await asyncio.sleep(0)
        release.set()
        answer = await waiting
        await bench.close()
        return answer

    assert asyncio.run(scene()) == 42


def test_one_too_many_is_told_to_come_back() -> None:
    """A full queue refuses at once with 503 and Retry-After, and frees its places again."""
    release = threading.Event()

    def wait(_question: int) -> bool:
        return release.wait(5.0)

    async def scene() -> float:
        bench = Workbench(most_waiting=2)
        waiting = [asyncio.create_task(bench.run(wait, number)) for number in range(2)]
        await asyncio.sleep(0)
        began = time.monotonic()
        with pytest.raises(ProblemError) as caught:
            await bench.run(wait, 3)
        took = time.monotonic() - began
        release.set()
        assert await asyncio.gather(*waiting) == [True, True]
        assert await bench.run(wait, 4)
        await bench.close()
        assert caught.value.kind is BUSY
        assert (b"retry-after", b"1") in caught.value.headers
        return took

    assert asyncio.run(scene()) < 0.5


def test_a_mistake_in_a_calculation_reaches_its_caller_alone() -> None:
    """An exception comes back to who asked, and the next question is computed."""

    def divide(number: int) -> float:
        return 1.0 / number

    async def scene() -> float:
        bench = Workbench()
        with pytest.raises(ZeroDivisionError):
            await bench.run(divide, 0)
        answer = await bench.run(divide, 4)
        await bench.close()
        return answer

    assert asyncio.run(scene()) == 0.25
