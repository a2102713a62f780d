"""The blocking client."""

from collections.abc import Generator, Iterator
from contextlib import ExitStack
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
from loopmargin.socket_deadline import DeadlineTransport, attempt_of
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


class Client(Session):
    """Asks a loopmargin service and waits for the answer; safe to share between threads.

    `base_url` defaults to that of `http_client`, then to LOOPMARGIN_BASE_URL, then to
    http://127.0.0.1:8000. Times are in seconds: `timeout` limits one attempt, of which
    `connect_timeout` may go into connecting, and `deadline` limits the whole call with its
    retries and waits. Each method takes `timeout` and `deadline` for that call alone.

    `api_key` defaults to LOOPMARGIN_API_KEY; it is sent with every request, so let it travel
    over TLS only, and it shows in no repr, log or error.

    Every question is a pure calculation, so asking again is safe. Broken connections and
    statuses 408, 429, 502, 503 and 504 are retried up to `max_retries` times, but for a 504 that
    says that the calculation itself takes too long.

    An `http_client` of your own, with a proxy or a transport, stays yours to close. With
    it a deadline limits each single read and is looked at between the pieces of a body;
    without it, the deadline holds on the socket, however slowly a response trickles in.
    """

    def __init__(
        self,
        base_url: str | None = None,
        *,
        http_client: httpx.Client | None = None,
        retry_budget: RetryBudget | None = None,
        clock: Clock = SYSTEM,
        **options: Unpack[OptionChanges],
    ) -> None:
        url = resolve_base_url(base_url, str(http_client.base_url) if http_client else "")
        super().__init__(Options(url, **options), retry_budget, clock)
        self._http = http_client or open_http()
        self._owned = http_client is None

    def radiator_area(
        self, question: RadiatorAreaQuestion, **limits: Unpack[CallOptions]
    ) -> RadiatorAreaAnswer:
        """How much radiator face does this heat need, and is the given radiator enough?"""
        return self.ask(RADIATOR_AREA, question, **limits).answer

    def pump_head(
        self, question: PumpHeadQuestion, **limits: Unpack[CallOptions]
    ) -> PumpHeadAnswer:
        """At which flow do pump and loop meet, and does every branch get what it needs?"""
        return self.ask(PUMP_HEAD, question, **limits).answer

    def supply_headroom(
        self, question: SupplyHeadroomQuestion, **limits: Unpack[CallOptions]
    ) -> SupplyHeadroomAnswer:
        """Is the supply enough at every length of peak, and is every plug within its rating?"""
        return self.ask(SUPPLY_HEADROOM, question, **limits).answer

    def steady_state(
        self, question: SteadyStateQuestion, **limits: Unpack[CallOptions]
    ) -> SteadyStateAnswer:
        """How warm, how fast and how power-hungry is the whole machine once it has settled?"""
        return self.ask(STEADY_STATE, question, **limits).answer

    def noise(self, question: NoiseQuestion, **limits: Unpack[CallOptions]) -> NoiseAnswer:
        """How loud is a machine at the listener, by its fans and pumps?"""
        return self.ask(NOISE, question, **limits).answer

    def warm_up(self, question: WarmUpQuestion, **limits: Unpack[CallOptions]) -> WarmUpAnswer:
        """How long until the machine settles, and how long does it last without pump or fans?"""
        return self.ask(WARM_UP, question, **limits).answer

    def sweep(self, question: SweepQuestion, **limits: Unpack[CallOptions]) -> SweepAnswer:
        """How does the machine settle over a grid of settings?"""
        return self.ask(SWEEP, question, **limits).answer

    def sweep_stream(
        self, question: SweepQuestion, **limits: Unpack[CallOptions]
    ) -> Generator[StreamRecord, None, None]:
        """How does the machine settle over up to a million cases? They come as they are solved.

        The first record is the head, then blocks of cases follow in order, and a `SweepEnd` counts
        them all. Blocks are `SweepBlock` with encoding "json" and `PackedBlock`, quicker by far,
        with "msgpack". Closing the generator hangs up, and the service stops solving.

        `timeout` limits the wait for each record, and `deadline` the time in which none comes,
        retries and waits included; the time that you take between records counts for neither.
        A stream that was cut is taken up where it stopped, up to `max_retries` times in a row
        without a new record. An error notes the case to go on from.
        """
        return deliver(self._streaming(question, limits), self._http, self._clock)

    def solve_for(
        self, question: SolveForQuestion, **limits: Unpack[CallOptions]
    ) -> SolveForAnswer:
        """Which is the least or greatest value at which the machine still meets its margins?"""
        return self.ask(SOLVE_FOR, question, **limits).answer

    def ask(self, route: Route[Q, A], question: Q, **limits: Unpack[CallOptions]) -> Reply[A]:
        """Ask any question by its route; the reply has request id and headers beside the answer."""
        return drive(self._asking(route, question, limits), self._http, self._clock)

    def stored(self, route: Route[Q, A], location: str, **limits: Unpack[CallOptions]) -> Reply[A]:
        """Fetch an answer given before, by its digest or by the `content_location` of its reply.

        An answer that is no longer stored is `Refused` with status 404: ask again.
        """
        return drive(self._fetching(location, route.answer, limits), self._http, self._clock)

    def with_options(self, **changes: Unpack[OptionChanges]) -> "Client":
        """Make a variant on the same connections and the same retry budget.

        Headers are added to those of this client. Closing the variant closes nothing.
        """
        self._require_own_process()
        return Client(
            **vars(self._options.changed(**changes)),
            http_client=self._http,
            retry_budget=self._budget,
            clock=self._clock,
        )

    def close(self) -> None:
        """Close the connections, unless they were given."""
        if self._owned:
            self._http.close()

    def __enter__(self) -> Self:
        """Close at the end of the block."""
        return self

    def __exit__(
        self,
        exc_type: type[BaseException] | None,
        exc: BaseException | None,
        traceback: TracebackType | None,
    ) -> None:
        """Close."""
        self.close()


def open_http() -> httpx.Client:
    """Open a pool of connections straight to the service, without proxies."""
    return httpx.Client(transport=DeadlineTransport(httpx.create_ssl_context(), POOL))


def drive(exchange: Exchange[A], http: httpx.Client, clock: Clock) -> Reply[A]:
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
            clock.sleep(step.seconds)
        else:
            outcome = receive(step, http, clock)


def receive(send: Send, http: httpx.Client, clock: Clock) -> Outcome:
    """Send one request and read the whole response, or return what stopped it."""
    try:
        with attempt_of(send.limit_s), http.stream(**send.arguments) as response:
            intake = Intake(send, clock)
            for chunk in response.iter_bytes():
                intake.add(chunk)
            return intake.arrival(response)
    except httpx.RequestError as error:
        return error


def deliver(
    steps: Steps[None], http: httpx.Client, clock: Clock
) -> Generator[StreamRecord, None, None]:
    """Do what a stream wants done and hand out its records; hang up at the end, however it ends."""
    heard: Heard = None
    with Line(http) as line:
        while True:
            try:
                step = steps.send(heard)
            except StopIteration:
                return
            heard = None
            if isinstance(step, Deliver):
                yield step.record
            elif isinstance(step, Pause):
                line.hang_up()
                clock.sleep(step.seconds)
            else:
                heard = line.hear(step)


class Line:
    """One response at a time, read piece by piece."""

    def __init__(self, http: httpx.Client) -> None:
        self._http = http
        self._open = ExitStack()
        self._pieces: Iterator[bytes] = iter(())

    def hear(self, step: Send | Read) -> Heard:
        """Send a request or read a piece, or return what stopped it."""
        try:
            # The limit holds in here alone: between two records the thread is its caller's.
            with attempt_of(step.limit_s):
                return self._begin(step) if isinstance(step, Send) else next(self._pieces, b"")
        except httpx.RequestError as error:
            return error

    def hang_up(self) -> None:
        """Close the response, and its connection when there is more to come."""
        self._open.close()

    def _begin(self, send: Send) -> Arrival:
        self.hang_up()
        response = self._open.enter_context(self._http.stream(**send.arguments))
        self._pieces = response.iter_bytes()
        return Arrival(response.status_code, response.headers, b"")

    def __enter__(self) -> Self:
        """Hang up at the end of the block."""
        return self

    def __exit__(self, *_: object) -> None:
        """Hang up."""
        self.hang_up()
