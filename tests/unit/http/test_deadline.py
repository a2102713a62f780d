"""How long a caller waits, and what ends the work for it."""

import asyncio
from typing import Any

import pytest

from loopmargin_service.http.deadline import Attended, deadline, wait_s
from loopmargin_service.http.media import ClientGoneError
from loopmargin_service.http.problems import DEADLINE, ProblemError

# Longer than any test waits.
LONG_S = 600.0


@pytest.mark.parametrize(
    ("header", "seconds"),
    [
        (b"wait=10", 10.0),
        (b"WAIT = 7", 7.0),
        (b'wait="3"', 3.0),
        (b"respond-async, wait=5; of=hours, wait=9", 5.0),
        (b"return=minimal,wait=0", 0.0),
        (b"", None),
        (b"wait", None),
        (b"wait=", None),
        (b"wait=-1", None),
        (b"wait=1.5", None),
        (b'wait="1', None),
        (b"wait=12345678901", None),
        (b"waiting=5", None),
        (b"\xff=1, wait=\xb2", None),
    ],
)
def test_the_preference_is_read_as_its_standard_says(header: bytes, seconds: float | None) -> None:
    """RFC 7240: section 2 for the list, quotes and case, section 4.3 for `wait`.

    The first of two counts (section 2); what cannot be understood is ignored.
    """
    assert wait_s(header) == seconds


@pytest.mark.parametrize(
    ("header", "allowed_s"), [(b"", 30.0), (b"wait=5", 5.0), (b"wait=300", 30.0), (b"wait=0", 0.0)]
)
def test_a_caller_may_only_shorten(header: bytes, allowed_s: float) -> None:
    """The service's own limit is the longest."""

    async def scene() -> tuple[float, float]:
        limit = deadline(header, 30.0)
        return limit.allowed_s, limit.left_s()

    allowed, left = asyncio.run(scene())

    assert allowed == allowed_s
    assert allowed_s - 20.0 < left <= allowed_s


async def stay() -> Any:  # noqa: ANN401 - Litestar's own types are closed to tests
    """Listen on."""
    await asyncio.sleep(LONG_S)


async def leave() -> Any:  # noqa: ANN401 - the same
    """Hang up."""
    return {"type": "http.disconnect"}


def test_work_that_is_done_in_time_is_left_alone() -> None:
    """Nothing stays behind: neither the timer nor who listens."""

    async def scene() -> tuple[int, int]:
        async with Attended(stay, deadline(b"", LONG_S)):
            await asyncio.sleep(0)
            inside = len(asyncio.all_tasks())
        await asyncio.sleep(0)
        return inside, len(asyncio.all_tasks())

    assert asyncio.run(scene()) == (2, 1)


def test_a_caller_who_leaves_ends_the_work() -> None:
    """Whatever it waits for."""

    async def scene() -> None:
        async with Attended(leave, deadline(b"", LONG_S)):
            await asyncio.sleep(LONG_S)

    with pytest.raises(ClientGoneError):
        asyncio.run(scene())


def test_the_end_of_the_time_ends_the_work() -> None:
    """With a problem that names the limit and what to do, and a word to who counts."""
    overruns = []

    async def scene() -> None:
        async with Attended(stay, deadline(b"wait=0", 30.0), lambda: overruns.append(1)):
            await asyncio.sleep(LONG_S)

    with pytest.raises(ProblemError) as caught:
        asyncio.run(scene())
    assert caught.value.kind is DEADLINE
    assert "allowed is 0 s" in caught.value.detail
    assert "Ask for less" in caught.value.detail
    assert overruns == [1]


def test_an_error_of_the_work_is_not_covered_up() -> None:
    """It comes out as it is."""

    async def scene() -> None:
        async with Attended(stay, deadline(b"", LONG_S)):
            raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        asyncio.run(scene())


def test_a_cancel_from_outside_stays_one() -> None:
    """The server may end the whole request."""

    async def request() -> None:
        async with Attended(stay, deadline(b"", LONG_S)):
            await asyncio.sleep(LONG_S)

    async def scene() -> bool:
        task = asyncio.create_task(request())
        await asyncio.sleep(0)
        task.cancel()
        await asyncio.wait([task])
        return task.cancelled()

    assert asyncio.run(scene())


def test_the_task_goes_on_after_a_deadline_that_it_handles() -> None:
    """The cancel is taken back, as `asyncio.timeout` does."""

    async def scene() -> str:
        try:
            async with Attended(stay, deadline(b"wait=0", 30.0)):
                await asyncio.sleep(LONG_S)
        except ProblemError:
            await asyncio.sleep(0)
        return "goes on"

    assert asyncio.run(scene()) == "goes on"
