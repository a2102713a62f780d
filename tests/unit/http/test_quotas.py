"""The layer of quotas: what a caller is told, refused and charged."""

import asyncio
import re
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
from litestar import Litestar
from litestar.testing import TestClient

from loopmargin_service.http.app import create_app
from loopmargin_service.http.passing import Passing
from loopmargin_service.http.problems import ProblemError
from loopmargin_service.http.quota import Meter
from loopmargin_service.http.quotas import Account, Allowance, Limits, Quotas
from loopmargin_service.http.settings import Settings
from tests.unit.http.conftest import JSON
from tests.unit.http.parcel import Counter, parcel_routes
from tests.unit.http.test_access import BODY, KEY
from tests.unit.http.test_keys import line

POLICY = '"work";q=60;w=60;loopmargin-burst=3, "at-once";q=32;qu="concurrent-requests"'


@contextmanager
def limited(**settings: Any) -> Iterator[TestClient[Litestar]]:  # noqa: ANN401 - any setting
    """Talk to an application with some limits."""
    app = create_app(Settings(**settings), parcel_routes(Counter()))
    with TestClient(app, raise_server_exceptions=False) as inside:
        yield inside


@pytest.fixture
def client() -> Iterator[TestClient[Litestar]]:
    """Allow three at once, by address, and one a second from then on."""
    with limited(quota_by_address=True, quota_units_per_min=60, quota_burst_units=3) as inside:
        yield inside


def test_every_answer_says_what_is_left(client: TestClient[Litestar]) -> None:
    """In the form of the draft: policies, then what is left of the one that counts."""
    responses = [client.post("/v1/parcel", content=BODY, headers=JSON) for _ in range(3)]

    assert [one.status_code for one in responses] == [200] * 3
    assert {one.headers["ratelimit-policy"] for one in responses} == {POLICY}
    assert [one.headers["ratelimit"] for one in responses] == [
        f'"work";r={left};t=1' for left in (2, 1, 0)
    ]


def test_one_too_many_is_refused_with_a_time(client: TestClient[Litestar]) -> None:
    """Not earlier than the window told beside it, as the draft wants."""
    for _ in range(3):
        client.get("/v1/answers/none")
    response = client.post("/v1/parcel", content=BODY, headers=JSON)

    assert (response.status_code, response.json()["type"]) == (429, "/problems/quota")
    assert response.headers["retry-after"] == "1"
    assert response.headers["ratelimit"] == '"work";r=0;t=1'
    assert response.headers["ratelimit-policy"] == POLICY
    assert "costs 1 units and 0 are left" in response.json()["detail"]
    count = "loopmargin_rate_limited_total"
    registry = client.app.state.meters.registry
    assert registry.get_sample_value(count, {"limit": "rate"}) == 1


def test_refusals_say_it_too(client: TestClient[Litestar]) -> None:
    """A question that is wrong has cost a unit."""
    response = client.post("/v1/parcel", content=b"{", headers=JSON)

    assert (response.status_code, response.headers["ratelimit"]) == (400, '"work";r=2;t=1')


def test_open_paths_cost_nothing(client: TestClient[Litestar]) -> None:
    """A supervisor never meets a limit."""
    responses = [client.get("/readyz") for _ in range(10)]

    assert {one.status_code for one in responses} == {200}
    assert all("ratelimit" not in one.headers for one in responses)


def test_each_key_has_its_own_quota(tmp_path: Path) -> None:
    """The one of the file, or that of the settings."""
    path = tmp_path / "keys.jsonl"
    path.write_text(line("bench", burst_units=2, units_per_min=1) + line("tool"))
    with limited(keys_file=str(path), quota_burst_units=5, quota_units_per_min=1) as client:
        statuses = {
            name: [
                client.post(
                    "/v1/parcel",
                    content=BODY,
                    headers={**JSON, "authorization": KEY.replace("bench", name)},
                ).status_code
                for _ in range(7)
            ]
            for name in ("bench", "tool")
        }

    assert statuses == {"bench": [200] * 2 + [429] * 5, "tool": [200] * 5 + [429] * 2}


def test_callers_behind_a_trusted_proxy_are_told_apart() -> None:
    """By what the proxy says, and only if it is trusted."""
    for trusted, answered in (("127.0.0.0/8", 4), ("10.0.0.1", 2)):
        with limited(
            quota_by_address=True,
            quota_burst_units=2,
            quota_units_per_min=1,
            trusted_proxies=trusted,
        ) as client:
            client.app.asgi_handler = _from("127.0.0.1", client.app.asgi_handler)
            statuses = [
                client.get("/v1/answers/x", headers={"x-forwarded-for": f"192.0.2.{last}"})
                for last in range(4)
            ]
        assert [one.status_code for one in statuses].count(404) == answered


def _from(address: str, app: Any) -> Any:  # noqa: ANN401 - an ASGI application
    """Let requests come from an address."""

    async def moved(scope: Any, receive: Any, send: Any) -> None:  # noqa: ANN401 - the same
        await app({**scope, "client": (address, 1)}, receive, send)

    return moved


def test_open_requests_of_a_caller_are_bounded() -> None:
    """Those of others are not counted with them, and an answered one is no longer open."""
    layer = Quotas(Meter(), Limits(6000, 100, 2), lambda scope: str(scope["client"]))
    requests = [passing(client) for client in "aaaaba"]
    statuses = []
    for number, one in enumerate(requests):
        if number == 5:
            for before in requests[:5]:
                assert before.allowance is not None
                before.allowance.close()
        try:
            layer.enter(one)
            statuses.append("let in")
        except ProblemError as problem:
            statuses.append(problem.kind.name)

    assert statuses == ["let in", "let in", "quota", "quota", "let in", "let in"]


def passing(client: str) -> Passing:
    """Make a request of a caller."""
    scope: Any = {"path": "/v1/x", "method": "POST", "headers": [], "state": {}, "client": client}
    return Passing(scope, 0.0)


def test_work_is_charged_beyond_the_unit_of_its_request() -> None:
    """A second on one core is a hundred units, of which the request was one."""
    account = Account("a", None, Limits(60, 150, 1))

    async def run() -> list[str]:
        allowance = Allowance(account, Meter())
        told = []
        await allowance.charge(1)
        for work_s in (0.005, 1.0):
            await allowance.work(work_s)
            told.append(allowance.headers()[1][1].decode())
        with pytest.raises(ProblemError) as refused:
            await allowance.work(1.0)
        return [*told, refused.value.detail]

    first, second, refusal = asyncio.run(run())

    assert (first, second) == ('"work";r=149;t=1', '"work";r=50;t=1')
    assert re.match(r"This costs 99 units and 50 are left; ask again in (49|50) s", refusal)


def test_a_calculation_costs_its_work_and_its_answer_again_one_unit() -> None:
    """Also when the question is only spelled otherwise, for which it has to be read."""
    counter = Counter()
    (row,) = parcel_routes(counter)
    heavy = (row._replace(work=lambda _question: 0.5),)
    settings = Settings(quota_by_address=True, quota_units_per_min=1, quota_burst_units=100)
    bodies = (BODY, BODY, b'{"edges_mm":[1.0]}', b'{"edges_mm":[2]}', b'{"edges_mm":[3]}')
    with TestClient(create_app(settings, heavy), raise_server_exceptions=False) as client:
        responses = [client.post("/v1/parcel", content=body, headers=JSON) for body in bodies]
        again = client.post("/v1/parcel", content=BODY, headers=JSON)

    left = [int(one.headers["ratelimit"].split(";")[1].removeprefix("r=")) for one in responses]
    assert left[:3] == [50, 49, 48]
    assert responses[3].status_code == 429
    assert "costs 49 units and 47 are left" in responses[3].json()["detail"]
    assert again.status_code == 200
