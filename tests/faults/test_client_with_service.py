"""The clients and the real service: the same answers on every way, and what it refuses."""

import asyncio
from collections.abc import Iterator
from pathlib import Path
from typing import Any, cast

import httpx
import msgspec
import pytest

import loopmargin
from loopmargin.options import Encoding
from loopmargin_service.http.app import create_app
from loopmargin_service.http.problems import CONSTRAINT, CONTRADICTION
from loopmargin_service.http.settings import Settings
from loopmargin_wire.answer import Answer, Question
from loopmargin_wire.pump_head import PumpHeadQuestion
from tests.faults.service_process import ServiceProcess

EXAMPLES = Path(__file__).parents[2] / "openapi" / "examples"
ROUTES: list[loopmargin.Route[Any, Any]] = [
    value for value in vars(loopmargin).values() if isinstance(value, loopmargin.Route)
]
BY_NAME = pytest.mark.parametrize("route", ROUTES, ids=lambda route: route.name)


@pytest.fixture(scope="module")
def service() -> Iterator[ServiceProcess]:
    """Run one service for all tests that leave it alone."""
    with ServiceProcess() as running:
        yield running


def question_of(route: loopmargin.Route[Any, Any]) -> Question:
    """Read the published example of a question."""
    body = (EXAMPLES / f"{route.name}.question.json").read_bytes()
    question: Question = msgspec.json.decode(body, type=route.question)
    return question


def by_name(client: object, route: loopmargin.Route[Any, Any]) -> Answer:
    """Ask by the method that is named after the question."""
    method = getattr(client, route.name.replace("-", "_"))
    answer: Answer = method(question_of(route))
    return answer


def blocking(url: str, route: loopmargin.Route[Any, Any], encoding: Encoding) -> Answer:
    """Ask over a socket, through the blocking client."""
    with loopmargin.Client(url, encoding=encoding) as client:
        return by_name(client, route)


async def asynchronous(url: str, route: loopmargin.Route[Any, Any]) -> Answer:
    """Ask over a socket, through the asynchronous client."""
    async with loopmargin.AsyncClient(url) as client:
        method = getattr(client, route.name.replace("-", "_"))
        answer: Answer = await method(question_of(route))
        return answer


async def in_process(route: loopmargin.Route[Any, Any]) -> Answer:
    """Ask a service in this process, without a socket."""
    transport = httpx.ASGITransport(cast("Any", create_app(Settings())))
    async with httpx.AsyncClient(transport=transport, base_url="http://in.process") as http:
        client = loopmargin.AsyncClient(http_client=http)
        answer: Answer = (await client.ask(route, question_of(route))).answer
        return answer


@BY_NAME
def test_every_way_gives_the_same_answer(
    service: ServiceProcess, route: loopmargin.Route[Any, Any]
) -> None:
    """Blocking or not, in JSON or msgpack, over a socket or not: equal to the last bit."""
    answer = blocking(service.url, route, "json")

    assert isinstance(answer, route.answer)
    assert blocking(service.url, route, "msgpack") == answer
    assert asyncio.run(asynchronous(service.url, route)) == answer
    assert asyncio.run(in_process(route)) == answer


@BY_NAME
def test_answer_can_be_fetched_again(
    service: ServiceProcess, route: loopmargin.Route[Any, Any]
) -> None:
    """The place that a reply names holds the same answer, in both clients."""

    async def fetch(place: str) -> Answer:
        async with loopmargin.AsyncClient(service.url) as client:
            variant = client.with_options(encoding="json")
            answer: Answer = (await variant.stored(route, place)).answer
            return answer

    with loopmargin.Client(service.url) as client:
        reply = client.ask(route, question_of(route))
        stored = client.stored(route, reply.content_location)

    assert stored.answer == reply.answer == asyncio.run(fetch(reply.content_location))
    assert "" not in {reply.request_id, reply.cache_status, stored.request_id}
    assert reply.request_id != stored.request_id


def test_answer_that_was_never_given_is_not_stored(service: ServiceProcess) -> None:
    """Asking for it says 404, which no retry would change."""
    with loopmargin.Client(service.url) as client, pytest.raises(loopmargin.Refused) as caught:
        client.stored(loopmargin.PUMP_HEAD, "0" * 40)

    assert (caught.value.status, caught.value.attempts) == (404, 1)


def test_contradiction_is_refused_with_its_place(service: ServiceProcess) -> None:
    """What only the service can see comes back as the same error, with a request id."""
    question = question_of(loopmargin.PUMP_HEAD)
    assert isinstance(question, PumpHeadQuestion)
    pump = question.pumps[0]
    rising = msgspec.structs.replace(pump, curve=pump.curve[::-1])

    with (
        loopmargin.Client(service.url) as client,
        pytest.raises(loopmargin.InvalidQuestion) as caught,
    ):
        client.pump_head(msgspec.structs.replace(question, pumps=(rising,)))

    assert caught.value.problem.type == CONTRADICTION.type
    assert caught.value.problem.errors[0].pointer.startswith("#/pumps/0/curve")
    assert str(caught.value).startswith(caught.value.request_id + ": 422 ")


def test_own_refusal_is_that_of_the_service(service: ServiceProcess) -> None:
    """A question refused unsent has type, title, status and pointer of the service's refusal."""
    question = question_of(loopmargin.PUMP_HEAD)
    assert isinstance(question, PumpHeadQuestion)
    question = msgspec.structs.replace(question, coolant_c=400.0)
    sent = httpx.post(
        f"{service.url}/v1/pump-head",
        content=msgspec.json.encode(question),
        headers={"content-type": "application/json"},
    ).json()

    with (
        loopmargin.Client(service.url) as client,
        pytest.raises(loopmargin.InvalidQuestion) as caught,
    ):
        client.ask(loopmargin.PUMP_HEAD, question)

    own = caught.value.problem
    assert (own.type, own.title, own.status) == (sent["type"], sent["title"], sent["status"])
    assert (own.type, own.errors[0].pointer) == (CONSTRAINT.type, sent["errors"][0]["pointer"])


def test_stopped_service_is_no_answer() -> None:
    """After the service has gone, the error says where it was looked for."""
    with ServiceProcess() as running:
        url = running.url

    with (
        loopmargin.Client(url, max_retries=0) as client,
        pytest.raises(loopmargin.NoAnswer, match=url),
    ):
        by_name(client, ROUTES[0])
