"""The asynchronous client, for asyncio."""

import asyncio
from collections.abc import AsyncGenerator, AsyncIterator
from contextlib import AsyncExitStack
from types import TracebackType
from typing import Self, TypeVar, Unpack

import httpx

from loopmargin.clock import SYSTEM, Clock
from loopmargin.exchange import Exchange
from loopmargin.message import Arrival, Outcome, Pause, Reply, Send
from loopmargin.options import CallOptions, OptionChanges, Options, resolve_base_url
from loopmargin.records import StreamRecord
from loopmargin.retry import RetryBudget
from loopmargin.routes import (
    NOISE,
    PUMP_HEAD,
    RADIATOR_AREA,
    SOLVE_FOR,
    STEADY_STATE,
    SUPPLY_HEADROOM,
    SWEEP,
    WARM_UP,
    Route,
)
from loopmargin.session import POOL, Intake, Session
from loopmargin.streaming import Deliver, Heard, Read, Steps
from loopmargin_wire.answer import Answer, Question
from loopmargin_wire.noise import NoiseAnswer, NoiseQuestion
from loopmargin_wire.pump_head import PumpHeadAnswer, PumpHeadQuestion
from loopmargin_wire.radiator_area import RadiatorAreaAnswer, RadiatorAreaQuestion
from loopmargin_wire.solve_for import SolveForAnswer, SolveForQuestion
from loopmargin_wire.steady_state import SteadyStateAnswer, SteadyStateQuestion
from loopmargin_wire.supply_headroom import SupplyHeadroomAnswer, SupplyHeadroomQuestion
from loopmargin_wire.sweep import SweepAnswer, SweepQuestion
from loopmargin_wire.warm_up import WarmUpAnswer, WarmUpQuestion

Q = TypeVar("Q", bound=Question)
A = TypeVar("A", bound=Answer)


class AsyncClient(Session):
    """Asks a loopmargin service without blocking the event loop that it was first used in.

    Options, retries, limits and errors are those of `Client`, and so are the methods,
    each to be awaited. Cancelling a call ends its attempt and gives its connection back.
    A deadline ends an attempt wherever it stands, whatever `http_client` it runs on.
    """

    def __init__(
        self,
        base_url: str | None = None,
        *,
        http_client: httpx.AsyncClient | None = None,
        retry_budget: RetryBudget | None = None,
        clock: Clock = SYSTEM,
        **options: Unpack[OptionChanges],
    ) -> None:
        url = resolve_base_url(base_url, str(http_client.base_url) if http_client else "")
        super().__init__(Options(url, **options), retry_budget, clock)
        self._http = http_client or open_http()
        self._owned = http_client is None

    async def radiator_area(
        self, question: RadiatorAreaQuestion, **limits: Unpack[CallOptions]
    ) -> RadiatorAreaAnswer:
        """How much radiator face does this heat need, and is the given radiator enough?"""
        return (await self.ask(RADIATOR_AREA, question, **limits)).answer

    async def pump_head(
        self, question: PumpHeadQuestion, **limits: Unpack[CallOptions]
    ) -> PumpHeadAnswer:
        """At which flow do pump and loop meet, and does every branch get what it needs?"""
        return (await self.ask(PUMP_HEAD, question, **limits)).answer

    async def supply_headroom(
        self, question: SupplyHeadroomQuestion, **limits: Unpack[CallOptions]
    ) -> SupplyHeadroomAnswer:
        """Is the supply enough at every length of peak, and is every plug within its rating?"""
        return (await self.ask(SUPPLY_HEADROOM, question, **limits)).answer

    async def steady_state(
        self, question: SteadyStateQuestion, **limits: Unpack[CallOptions]
    ) -> SteadyStateAnswer:
        """How warm, how fast and how power-hungry is the whole machine once it has settled?"""
        return (await self.ask(STEADY_STATE, question, **limits)).answer

    async def noise(self, question: NoiseQuestion, **limits: Unpack[CallOptions]) -> NoiseAnswer:
        """How loud is a machine at the listener, by its fans and pumps?"""
        return (await self.ask(NOISE, question, **limits)).answer

    async def warm_up(
        self, question: WarmUpQuestion, **limits: Unpack[CallOptions]
    ) -> WarmUpAnswer:
        """How long until the machine settles, and how long does it last without pump or fans?"""
        return (await self.ask(WARM_UP, question, **limits)).answer

    async def sweep(self, question: SweepQuestion, **limits: Unpack[CallOptions]) -> SweepAnswer:
        """How does the machine settle over a grid of settings?"""
        return (await self.ask(SWEEP, question, **limits)).answer

    def sweep_stream(
        self, question: SweepQuestion, **limits: Unpack[CallOptions]
    ) -> AsyncGenerator[StreamRecord, None]:
        """How does the machine settle over up to a million cases? They come as they are solved.

        The first record is the head, then blocks of cases follow in order, and a `SweepEnd` counts
        them all. Blocks are `SweepBlock` with encoding "json" and `PackedBlock`, quicker by far,
        with "msgpack". Closing the generator hangs up, and the service stops solving.
        Leave early within `contextlib.aclosing`, as Python closes no such generator at once.

        `timeout` limits the wait for each record, and `deadline` the time in which none comes,
        retries and waits included; the time that you take between records counts for neither.
        A stream that was cut is taken up where it stopped, up to `max_retries` times in a row
        without a new record. An error notes the case to go on from.
        """
        return deliver(self._streaming(question, limits), self._http, self._clock)

    async def solve_for(
        self, question: SolveForQuestion, **limits: Unpack[CallOptions]
    ) -> SolveForAnswer:
        """Which is the least or greatest value at which the machine still meets its margins?"""
        return (await self.ask(SOLVE_FOR, question, **limits)).answer

    async def ask(self, route: Route[Q, A], question: Q, **limits: Unpack[CallOptions]) -> Reply[A]:
        """Ask any question by its route; the reply has request id and headers beside the answer."""
        return await drive(self._asking(route, question, limits), self._http, self._clock)

    async def stored(
        self, route: Route[Q, A], location: str, **limits: Unpack[CallOptions]
    ) -> Reply[A]:
        """Fetch an answer given before, by its digest or by the `content_location` of its reply.

        An answer that is no longer stored is `Refused` with status 404: ask again.
        """
        return await drive(self._fetching(location, route.answer, limits), self._http, self._clock)

    def with_options(self, **changes: Unpack[OptionChanges]) -> "AsyncClient":
        """Make a variant on the same connections and the same retry budget.

        Headers are added to those of this client. Closing the variant closes nothing.
        """
        self._require_own_process()
        return AsyncClient(
            **vars(self._options.changed(**changes)),
            http_client=self._http,
            retry_budget=self._budget,
            clock=self._clock,
        )

    async def aclose(self) -> None:
        """Close the connections, unless they were given."""
        if self._owned:
            await self._http.aclose()

    async def __aenter__(self) -> Self:
        """Close at the end of the block."""
        return self

    async def __aexit__(
        self,
        exc_type: type[BaseException] | None,
        exc: BaseException | None,
        traceback: TracebackType | None,
    ) -> None:
        """Close."""
        await self.aclose()


def open_http() -> httpx.AsyncClient:
    """Open a pool of connections straight to the service, without proxies."""
    return httpx.AsyncClient(
        transport=httpx.AsyncHTTPTransport(verify=httpx.create_ssl_context(), limits=POOL)
    )


async def drive(exchange: Exchange[A], http: httpx.AsyncClient, clock: Clock) -> Reply[A]:
    """Send what an exchange wants sent, sleep when it wants to wait, return its reply."""
    outcome: Outcome = None
    while True:
        try:
            step = exchange.send(outcome)
        except StopIteration as done:
            reply: Reply[A] = done.value
            return reply
        if isinstance(step, Pause):
            outcome = None
            await clock.sleep_async(step.seconds)
        else:
            outcome = await receive(step, http, clock)


async def receive(send: Send, http: httpx.AsyncClient, clock: Clock) -> Outcome:
    """Send one request and read the whole response, or return what stopped it."""
    try:
        async with asyncio.timeout(send.limit_s), http.stream(**send.arguments) as response:
            intake = Intake(send, clock)
            async for chunk in response.aiter_bytes():
                intake.add(chunk)
            return intake.arrival(response)
    except (httpx.RequestError, TimeoutError) as error:
        return error


async def deliver(
    steps: Steps[None], http: httpx.AsyncClient, clock: Clock
) -> AsyncGenerator[StreamRecord, None]:
    """Do what a stream wants done and hand out its records; hang up at the end, however it ends."""
    heard: Heard = None
    async with Line(http) as line:
        while True:
            try:
                step = steps.send(heard)
            except StopIteration:
                return
            heard = None
            if isinstance(step, Deliver):
                yield step.record
            elif isinstance(step, Pause):
                await line.hang_up()
                await clock.sleep_async(step.seconds)
            else:
                heard = await line.hear(step)


class Line:
    """One response at a time, read piece by piece."""

    def __init__(self, http: httpx.AsyncClient) -> None:
        self._http = http
        self._open = AsyncExitStack()
        self._pieces: AsyncIterator[bytes] | None = None

    async def hear(self, step: Send | Read) -> Heard:
        """Send a request or read a piece, or return what stopped it."""
        try:
            async with asyncio.timeout(step.limit_s):
                return await (self._begin(step) if isinstance(step, Send) else self._piece())
        except (httpx.RequestError, TimeoutError) as error:
            return error

    async def hang_up(self) -> None:
        """Close the response, and its connection when there is more to come."""
        await self._open.aclose()

    async def _begin(self, send: Send) -> Arrival:
        await self.hang_up()
        response = await self._open.enter_async_context(self._http.stream(**send.arguments))
        self._pieces = response.aiter_bytes()
        return Arrival(response.status_code, response.headers, b"")

    async def _piece(self) -> bytes:
        return b"" if self._pieces is None else await anext(self._pieces, b"")

    async def __aenter__(self) -> Self:
        """Hang up at the end of the block."""
        return self

    async def __aexit__(self, *_: object) -> None:
        """Hang up."""
        await self.hang_up()
