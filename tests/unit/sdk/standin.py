"""Stand-ins for the service and for time: scripted responses, a clock that only counts."""

import asyncio
import functools
from collections.abc import Callable
from typing import Unpack

import httpx
import msgspec

import loopmargin
from loopmargin.options import OptionChanges
from loopmargin_wire.answer import Margin, Outcome
from loopmargin_wire.part import Fan, FanPoint, Fans, Room, Water
from loopmargin_wire.problem import Problem
from loopmargin_wire.radiator import CoreRadiator
from loopmargin_wire.radiator_area import (
    AllowedRise,
    GivenFans,
    RadiatorAreaAnswer,
    RadiatorAreaQuestion,
)

MSGPACK = "application/vnd.msgpack"


@functools.cache
def example() -> RadiatorAreaQuestion:
    """Return a valid question with invented numbers."""
    curve = ((0.0, 18.0), (60.0, 13.0), (110.0, 6.5), (140.0, 0.0))
    points = tuple(FanPoint(air_flow_m3_per_h=flow, pressure_pa=rise) for flow, rise in curve)
    fan = Fan(name="invented fan", curve=points, curve_speed_rpm=1500.0)
    return RadiatorAreaQuestion(
        heat_w=340.0,
        room=Room(air_c=27.0),
        target=AllowedRise(rise_k=12.0),
        air=GivenFans(fans=Fans(fan=fan, count=2, speed_rpm=900.0)),
        coolant=Water(),
        flow_l_per_min=2.5,
        radiator=CoreRadiator(
            name="invented radiator",
            face_width_mm=280.0,
            face_height_mm=140.0,
            depth_mm=30.0,
            tube_pitch_mm=10.0,
            tube_thickness_mm=2.0,
            fins_per_inch=16.0,
        ),
    )


@functools.cache
def sample_answer() -> RadiatorAreaAnswer:
    """Return a valid answer with invented numbers."""
    return RadiatorAreaAnswer(
        edition="invented",
        outcome=Outcome(status="solved"),
        margins=(
            Margin(
                criterion="conductance",
                demand=28.25,
                capacity=31.5,
                surplus=3.25,
                unit="W/K",
                verdict="meets",
                chance=0.97,
            ),
        ),
        basis=(),
        notes=(),
        cautions=(),
        question=example(),
        state=None,
    )


def answered(body: bytes | None = None, media: str = MSGPACK, **headers: str) -> httpx.Response:
    """Response with the sample answer, or with a body of one's own."""
    content = msgspec.msgpack.encode(sample_answer()) if body is None else body
    fields = {name.replace("_", "-"): value for name, value in headers.items()}
    return httpx.Response(200, content=content, headers={"content-type": media, **fields})


def refused(status: int, kind: str = "/problems/x", **headers: str) -> httpx.Response:
    """Response with a problem document."""
    problem = Problem(type=kind, title="Not now", status=status, detail="Come back.")
    fields = {name.replace("_", "-"): value for name, value in headers.items()}
    media = {"content-type": "application/problem+json", "request-id": "ab-1"}
    return httpx.Response(status, content=msgspec.json.encode(problem), headers={**media, **fields})


class Time:
    """Seconds that pass only when somebody sleeps; draws are a fixed share of their ceiling."""

    def __init__(self, share: float = 1.0, wall: float = 1.7e9) -> None:
        self.now = 100.0
        self.slept: list[float] = []
        self.clock = loopmargin.Clock(
            monotonic=lambda: self.now,
            wall=lambda: wall + self.now,
            uniform=lambda low, high: low + share * (high - low),
            sleep=self.sleep,
            sleep_async=self.sleep_async,
        )

    def sleep(self, seconds: float) -> None:
        """Let seconds pass."""
        self.slept.append(seconds)
        self.now += seconds

    async def sleep_async(self, seconds: float) -> None:
        """Let seconds pass."""
        self.sleep(seconds)


Step = httpx.Response | Exception | Callable[[httpx.Request], httpx.Response]


class Service:
    """Answers requests by a script, the last step for ever, and keeps the requests."""

    def __init__(self, *script: Step) -> None:
        self.script = list(script) or [answered()]
        self.requests: list[httpx.Request] = []

    def __call__(self, request: httpx.Request) -> httpx.Response:
        """Answer one request."""
        self.requests.append(request)
        step = self.script.pop(0) if len(self.script) > 1 else self.script[0]
        if isinstance(step, Exception):
            raise step
        if isinstance(step, httpx.Response):
            # Equal responses go out more than once; each needs a stream of its own.
            return httpx.Response(step.status_code, headers=step.headers, content=step.content)
        return step(request)

    def headers(self, name: str) -> list[str]:
        """Values of a header field over all requests."""
        return [request.headers.get(name, "") for request in self.requests]


class StandinOptions(OptionChanges, total=False):
    """What a client of a stand-in may be given."""

    retry_budget: loopmargin.RetryBudget


Ask = Callable[..., loopmargin.Reply[RadiatorAreaAnswer]]


def ask_blocking(
    service: Service, time: Time | None = None, **options: Unpack[StandinOptions]
) -> loopmargin.Reply[RadiatorAreaAnswer]:
    """Ask the example through the blocking client."""
    clock = (time or Time()).clock
    with httpx.Client(transport=httpx.MockTransport(service)) as http:
        client = loopmargin.Client("http://stand.in", http_client=http, clock=clock, **options)
        return client.ask(loopmargin.RADIATOR_AREA, example())


def ask_asynchronous(
    service: Service, time: Time | None = None, **options: Unpack[StandinOptions]
) -> loopmargin.Reply[RadiatorAreaAnswer]:
    """Ask the example through the asynchronous client."""
    clock = (time or Time()).clock

    async def ask() -> loopmargin.Reply[RadiatorAreaAnswer]:
        async with httpx.AsyncClient(transport=httpx.MockTransport(service)) as http:
            client = loopmargin.AsyncClient(
                "http://stand.in", http_client=http, clock=clock, **options
            )
            return await client.ask(loopmargin.RADIATOR_AREA, example())

    return asyncio.run(ask())


def client_of(
    service: Service, time: Time | None = None, **options: Unpack[StandinOptions]
) -> loopmargin.Client:
    """Blocking client of a stand-in; it holds no connections that would need closing."""
    return loopmargin.Client(
        "http://stand.in",
        http_client=httpx.Client(transport=httpx.MockTransport(service)),
        clock=(time or Time()).clock,
        **options,
    )
