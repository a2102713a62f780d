"""How a stream pays for its work from the quota of its caller, chunk by chunk.

What is paid before the stream begins, so that it can be refused, is credit for its chunks. Later
ones wait until the quota allows them, in their order.
"""

import asyncio

from loopmargin_service.http.problems import ProblemError
from loopmargin_service.http.quotas import Allowance


class Purse:
    """Pays for one stream; without a quota everything is paid."""

    def __init__(self, allowance: Allowance | None) -> None:
        self._allowance = allowance
        self._credit_s = 0.0
        self._turn = asyncio.Lock()

    async def ahead(self, work_s: float) -> None:
        """Pay for some work now, or refuse."""
        if self._allowance is not None:
            await self._allowance.work(work_s)
            self._credit_s += work_s

    async def pay(self, work_s: float) -> None:
        """Pay for some work, and wait as long as the quota asks for."""
        if self._allowance is None:
            return
        async with self._turn:
            due_s = work_s - self._credit_s
            self._credit_s = max(0.0, -due_s)
            if due_s > 0.0:
                await _charged(self._allowance, due_s)


async def _charged(allowance: Allowance, work_s: float) -> None:
    while True:
        try:
            await allowance.work(work_s)
        except ProblemError as refused:
            wait = dict(refused.headers).get(b"retry-after", b"1")
            await asyncio.sleep(float(wait))
        else:
            return
