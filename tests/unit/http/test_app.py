"""The layers around the router: nothing gets past them unnamed."""

import asyncio
from typing import Any

import pytest
from litestar import Litestar
from litestar.testing import TestClient
from litestar.types import ASGIApp, Message, Receive, Scope, Send

from loopmargin_service.http.app import create_app
from loopmargin_service.http.pipeline import Pipeline
from loopmargin_service.http.settings import Settings
from loopmargin_service.http.store import AnswerStore
from tests.unit.http.conftest import JSON


def scope(kind: str) -> Any:  # noqa: ANN401 - Litestar's own types are closed to tests
    """Make the least that a layer looks at."""
    return {"type": kind, "path": "/", "method": "GET", "headers": [], "state": {}}


async def receive() -> Any:  # noqa: ANN401 - the same
    """Say nothing."""
    return {"type": "http.disconnect"}


def around(router: ASGIApp) -> Pipeline:
    """Put the layers of the service around another router."""
    layers = create_app(Settings()).asgi_handler
    assert isinstance(layers, Pipeline)
    layers.admission.router = layers.router = router
    return layers


def test_a_mistake_in_front_of_the_router_is_a_bug_with_a_name(
    client: TestClient[Litestar],
    monkeypatch: pytest.MonkeyPatch,
    caplog: pytest.LogCaptureFixture,
) -> None:
    """The outermost layer answers for the others."""
    monkeypatch.delattr(AnswerStore, "ready")

    response = client.post("/v1/parcel", content=b"{}", headers={**JSON, "request-id": "mine"})

    assert (
        response.status_code,
        response.headers["content-type"],
    ) == (500, "application/problem+json")
    assert (response.json()["type"], response.json()["instance"]) == ("/problems/bug", "mine")
    assert "bug in request mine" in caplog.text


def test_a_mistake_after_the_start_of_a_response_is_left_to_the_server() -> None:
    """It cannot be taken back; the connection ends."""

    async def half(_scope: Scope, _receive: Receive, send: Send) -> None:
        start: Any = {"type": "http.response.start", "status": 200, "headers": []}
        await send(start)
        raise ZeroDivisionError

    async def send(_message: Message) -> None:
        return

    with pytest.raises(ZeroDivisionError):
        asyncio.run(around(half)(scope("http"), receive, send))


def test_what_is_not_http_passes_untouched() -> None:
    """Layers are for requests."""
    heard = []

    async def inner(seen: Scope, _receive: Receive, _send: Send) -> None:
        heard.append(seen["type"])

    async def send(_message: Message) -> None:
        return

    asyncio.run(around(inner)(scope("websocket"), receive, send))

    assert heard == ["websocket"]


def test_an_application_reads_nothing_from_the_environment(
    client: TestClient[Litestar], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Settings come in as an argument and in no other way."""
    monkeypatch.setenv("LOOPMARGIN_BODY_BYTES", "1")

    assert Settings().body_bytes == 262_144
    assert client.post("/v1/parcel", content=b'{"edges_mm":[1]}', headers=JSON).status_code == 200


def test_slashes_too_many_are_forgiven(client: TestClient[Litestar]) -> None:
    """The router takes them for the same path; the answer is the same."""
    body = b'{"edges_mm":[1]}'
    answers = {
        client.post(path, content=body, headers=JSON).content
        for path in ("/v1/parcel", "/v1/parcel/", "/v1//parcel")
    }

    assert len(answers) == 1
