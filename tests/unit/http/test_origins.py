"""Pages of other origins: none may ask unless it is listed (Fetch standard, CORS protocol)."""

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
from tests.unit.http.test_access import BODY
from tests.unit.http.test_keys import line

LISTED = "https://quotes.example"


@pytest.fixture
def client(tmp_path: Path) -> Iterator[TestClient[Litestar]]:
    """Let two origins in, with keys."""
    keys = tmp_path / "keys"
    keys.write_text(line("bench"))
    settings = Settings(keys_file=str(keys), origins=f"{LISTED},http://127.0.0.1:3000")
    with TestClient(create_app(settings, parcel_routes(Counter()))) as inside:
        yield inside


def beforehand(client: TestClient[Litestar], origin: str) -> httpx.Response:
    """Ask what a browser asks before it sends a question."""
    asked = {"origin": origin, "access-control-request-method": "POST"}
    return client.options("/v1/parcel", headers=asked)


def test_a_listed_origin_may_ask(client: TestClient[Litestar]) -> None:
    """Without a key, because a browser sends none with this question."""
    response = beforehand(client, LISTED)

    assert (response.status_code, response.content) == (204, b"")
    assert response.headers["access-control-allow-origin"] == LISTED
    assert "authorization" in response.headers["access-control-allow-headers"]
    assert "POST" in response.headers["access-control-allow-methods"]
    assert "access-control-allow-credentials" not in response.headers


@pytest.mark.parametrize(
    "origin", ["https://other.example", f"{LISTED}.evil.example", "null", "*", LISTED.upper(), ""]
)
def test_no_other_origin_may(client: TestClient[Litestar], origin: str) -> None:
    """Nor one that only looks like it."""
    for response in (beforehand(client, origin), client.get("/livez", headers={"origin": origin})):
        assert not [name for name in response.headers if name.startswith("access-control")]
        assert "origin" in response.headers["vary"]


def test_a_page_may_read_refusals_too(client: TestClient[Litestar]) -> None:
    """Otherwise it could not tell its user to enter a key."""
    response = client.post("/v1/parcel", content=BODY, headers={**JSON, "origin": LISTED})

    assert response.status_code == 401
    assert response.headers["access-control-allow-origin"] == LISTED
    assert "retry-after" in response.headers["access-control-expose-headers"]


def test_by_default_nothing_is_said_of_origins() -> None:
    """A browser then keeps pages out."""
    with TestClient(create_app(Settings(), parcel_routes(Counter()))) as client:
        response = beforehand(client, LISTED)

    assert not [name for name in response.headers if name.startswith("access-control")]
