"""With keys: who is let in, in which words the others are refused, and what stays open."""

from collections.abc import Iterator
from pathlib import Path

import httpx
import pytest
from litestar import Litestar
from litestar.testing import TestClient

from loopmargin_service.http.app import create_app
from loopmargin_service.http.settings import Settings
from tests.unit.http.conftest import JSON
from tests.unit.http.parcel import Counter, parcel_routes
from tests.unit.http.test_keys import SECRET, line

BODY = b'{"edges_mm":[1]}'
KEY = f"Bearer bench.{SECRET}"


@pytest.fixture
def guarded(tmp_path: Path) -> Iterator[TestClient[Litestar]]:
    """Talk to an application with one key that holds and one that has run out."""
    path = tmp_path / "keys.jsonl"
    path.write_text(line("bench") + line("old", not_after="2020-01-01T00:00:00Z"))
    app = create_app(Settings(keys_file=str(path)), parcel_routes(Counter()))
    with TestClient(app, raise_server_exceptions=False) as inside:
        yield inside


def ask(client: TestClient[Litestar], authorization: str | None = KEY) -> httpx.Response:
    """Post a parcel."""
    given = {} if authorization is None else {"authorization": authorization}
    return client.post("/v1/parcel", content=BODY, headers={**JSON, **given})


def test_a_key_opens(guarded: TestClient[Litestar]) -> None:
    """The first time and from the store, whatever the case of the scheme."""
    answers = [ask(guarded, given) for given in (KEY, KEY, KEY.replace("Bearer", "bearer"))]

    assert {answer.status_code for answer in answers} == {200}
    assert len({answer.content for answer in answers}) == 1


def test_no_key_is_told_what_to_send(guarded: TestClient[Litestar]) -> None:
    """With the challenge of RFC 6750 without an error, as its section 3.1 wants."""
    response = ask(guarded, None)

    assert (response.status_code, response.json()["type"]) == (401, "/problems/key")
    assert response.headers["www-authenticate"] == 'Bearer realm="loopmargin"'
    assert "Authorization: Bearer" in response.json()["detail"]
    assert response.headers["request-id"] == response.json()["instance"]


def test_unknown_and_wrong_are_told_the_same(guarded: TestClient[Litestar]) -> None:
    """Nothing tells which ids there are."""
    unknown, wrong = (ask(guarded, f"Bearer {key}") for key in (f"none.{SECRET}", "bench.wrong"))
    told = [
        (one.status_code, {**one.json(), "instance": ""}, one.headers["www-authenticate"])
        for one in (unknown, wrong)
    ]

    assert told[0] == told[1]
    assert told[0][2] == 'Bearer realm="loopmargin", error="invalid_token"'


@pytest.mark.parametrize(
    "given", ["", "Bearer", "Bearer ", "Basic YTpi", "Bearer \xff.\xff", KEY[7:]]
)
def test_what_is_no_key_is_refused(guarded: TestClient[Litestar], given: str) -> None:
    """In whatever form."""
    response = guarded.post(
        "/v1/parcel", content=BODY, headers=[(b"authorization", given.encode("latin-1"))]
    )

    assert response.status_code == 401


def test_two_keys_are_one_too_many(guarded: TestClient[Litestar]) -> None:
    """A proxy and the service might look at different ones."""
    headers = [("authorization", KEY), ("authorization", KEY), *JSON.items()]

    assert guarded.post("/v1/parcel", content=BODY, headers=headers).status_code == 401


def test_a_key_that_has_run_out_is_told_so(guarded: TestClient[Litestar]) -> None:
    """Its holder has shown the secret and may know."""
    response = ask(guarded, f"Bearer old.{SECRET}")

    assert response.status_code == 401
    assert "was valid until 2020-01-01" in response.json()["detail"]


def test_the_secret_stands_nowhere(
    guarded: TestClient[Litestar], caplog: pytest.LogCaptureFixture
) -> None:
    """Neither in a refusal nor in the log of a bug."""
    said = [ask(guarded, f"Bearer none.{SECRET}"), ask(guarded, f"Bearer old.{SECRET}")]
    bug = guarded.post(
        "/v1/parcel",
        content=b'{"edges_mm":[1],"mood":"broken"}',
        headers={**JSON, "authorization": KEY},
    )

    assert bug.status_code == 500
    assert all(SECRET not in one.text + str(one.headers) for one in (*said, bug))
    assert SECRET not in caplog.text


@pytest.mark.parametrize(
    "path", ["/livez", "/readyz", "/docs", "/docs/style.css", "/openapi.json", "/problems/key"]
)
def test_supervisors_and_readers_need_no_key(guarded: TestClient[Litestar], path: str) -> None:
    """Nothing there is about anybody."""
    assert guarded.get(path).status_code == 200
    assert guarded.head(path).status_code == 200


@pytest.mark.parametrize(
    "path",
    [
        *("/v1/parcel", "//v1/parcel", "/v1//parcel", "/v1/parcel/", "/v1/answers/0", "/nothing"),
        *("/problems/../v1/parcel", "/docs/..//v1/parcel", "/livez/../v1/parcel", "/%76%31/parcel"),
        *("/problems//v1/parcel", "/livez//v1/parcel", "/docs%2f..%2fv1%2fparcel"),
    ],
)
def test_no_spelling_of_a_path_gets_round_the_key(guarded: TestClient[Litestar], path: str) -> None:
    """Open is what is named as open; everything else is closed or not there."""
    response = guarded.post(f"http://testserver{path}", content=BODY, headers=JSON)

    assert response.status_code in {401, 404, 405}
    assert b"total_mm" not in response.content


def test_a_broken_file_shows_in_readiness(guarded: TestClient[Litestar]) -> None:
    """The replica goes on wanting traffic."""
    keyring = guarded.app.state.keyring
    keyring.failing = True

    assert guarded.get("/readyz").json() == {"status": "ready", "degraded": ["keys"]}


def test_without_keys_a_key_is_not_looked_at(client: TestClient[Litestar]) -> None:
    """A client may be set up before the service is."""
    assert ask(client, "Bearer whatever").status_code == 200
    assert "ratelimit" not in ask(client).headers
