"""How callers use the client, for a type checker to read; never executed.

A line that has to be an error carries an ignore with its code, and the checker complains
of an ignore that is not needed.
"""

from typing import assert_type

import httpx

import loopmargin
from loopmargin_wire.noise import NoiseAnswer, NoiseQuestion
from loopmargin_wire.problem import Problem
from loopmargin_wire.pump_head import PumpHeadAnswer, PumpHeadQuestion
from loopmargin_wire.radiator_area import RadiatorAreaAnswer, RadiatorAreaQuestion
from loopmargin_wire.steady_state import SteadyStateAnswer, SteadyStateQuestion
from loopmargin_wire.supply_headroom import SupplyHeadroomAnswer, SupplyHeadroomQuestion
from loopmargin_wire.warm_up import WarmUpAnswer, WarmUpQuestion


def blocking(
    area: RadiatorAreaQuestion,
    head: PumpHeadQuestion,
    supply: SupplyHeadroomQuestion,
    state: SteadyStateQuestion,
    noise: NoiseQuestion,
    warming: WarmUpQuestion,
) -> None:
    """Each question has its answer."""
    with loopmargin.Client("http://x", timeout=5.0, headers={"a": "b"}) as client:
        assert_type(client, loopmargin.Client)
        assert_type(client.radiator_area(area), RadiatorAreaAnswer)
        assert_type(client.pump_head(head, deadline=1.0), PumpHeadAnswer)
        assert_type(client.supply_headroom(supply), SupplyHeadroomAnswer)
        assert_type(client.steady_state(state, timeout=9.0), SteadyStateAnswer)
        assert_type(client.noise(noise), NoiseAnswer)
        assert_type(client.warm_up(warming), WarmUpAnswer)
        reply = client.ask(loopmargin.PUMP_HEAD, head)
        assert_type(reply, loopmargin.Reply[PumpHeadAnswer])
        stored = client.stored(loopmargin.STEADY_STATE, reply.content_location)
        assert_type(stored.answer, SteadyStateAnswer)
        assert_type(client.with_options(max_retries=0), loopmargin.Client)


async def asynchronous(area: RadiatorAreaQuestion) -> None:
    """Await the same."""
    async with loopmargin.AsyncClient(http_client=httpx.AsyncClient()) as client:
        assert_type(await client.radiator_area(area), RadiatorAreaAnswer)
        reply = await client.ask(loopmargin.RADIATOR_AREA, area)
        assert_type(reply.answer, RadiatorAreaAnswer)
        assert_type(client.with_options(encoding="json"), loopmargin.AsyncClient)


def failures(error: loopmargin.Refused, lost: loopmargin.NoAnswer) -> None:
    """Look at what errors carry."""
    assert_type(error.problem, Problem)
    assert_type(error.retry_after_s, float | None)
    assert_type(lost.status, int | None)
    assert_type(lost.cause, BaseException | None)


def mistakes(client: loopmargin.Client, head: PumpHeadQuestion) -> None:
    """Be told before anything is run."""
    client.radiator_area(head)  # type: ignore[arg-type]
    client.ask(loopmargin.RADIATOR_AREA, head)  # type: ignore[misc]
    client.pump_head(head, timeout="soon")  # type: ignore[arg-type]
    client.pump_head(head, retries=3)  # type: ignore[call-arg]
    client.with_options(encoding="xml")  # type: ignore[arg-type]
    loopmargin.Client(timeouts=3.0)  # type: ignore[call-arg]
    loopmargin.Client(http_client=httpx.AsyncClient())  # type: ignore[arg-type]
