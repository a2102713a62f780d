"""Ten times more than can be answered: the service goes on answering, and gets over it.

The table of `make bench` has the figures; here it only has to hold on a machine that is busy.
"""

import asyncio
import time
from pathlib import Path

import httpx

from tests.faults.service_process import WAIT_S, ServiceProcess
from tests.performance.open_loop import Heard, OpenLoop, Questions

BODY = Path("openapi/examples/steady-state.question.json").read_bytes()
PATH = "/v1/steady-state"
JSON = {"content-type": "application/json"}
CALLERS = 8
MEASURED_S, LOAD_S, TIMES = 2.0, 2.0, 10.0
# More than find a place in the queue, also on a machine so busy that ten times is less.
LEAST_PER_S = 100.0


async def overloaded(url: str) -> tuple[float, Heard]:
    """Measure what waiting callers get, then ask ten times as much."""
    load = OpenLoop(Questions(url, PATH, BODY, "rest_w", 40.0))
    await load.saturate(CALLERS, 1.0)
    capacity = await load.saturate(CALLERS, MEASURED_S)
    heard = await load.run(max(TIMES * capacity, LEAST_PER_S), LOAD_S)
    await load.close()
    return capacity, heard


def test_ten_times_too_much_is_answered_in_part_and_refused_for_the_rest() -> None:
    """Nothing is lost or late; at least a quarter of the usual rate is answered meanwhile."""
    with ServiceProcess(log_level="error") as service:
        capacity, heard = asyncio.run(overloaded(service.url))

        answered, refused = heard.count(200), heard.count(503)
        assert (heard.lost, answered + refused) == (0, len(heard.status))
        assert answered > 0.25 * capacity * LOAD_S
        assert refused > 0
        assert heard.took(200, 1.0) < 30.0
        deadline = time.monotonic() + WAIT_S
        while httpx.post(service.url + PATH, content=BODY, headers=JSON).status_code != 200:
            assert time.monotonic() < deadline
            time.sleep(0.05)
