"""One table of problems, stable types, true pointers."""

import pytest
from litestar import Litestar
from litestar.testing import TestClient

from loopmargin_service.http.problems import BY_NAME, KINDS, pointer
from tests.unit.http.conftest import JSON

GOOD = b'{"edges_mm":[1]}'


@pytest.mark.parametrize(
    ("path", "expected"),
    [
        ((), "#"),
        (("heat_w",), "#/heat_w"),
        (("branches", 0, "elements", 2, "bore_mm"), "#/branches/0/elements/2/bore_mm"),
        (("a/b",), "#/a~1b"),
        (("m~n",), "#/m~0n"),
        (("c%d",), "#/c%25d"),
        ((" ",), "#/%20"),
        (('k"l',), "#/k%22l"),
        (("e^f", "g|h", "i\\j"), "#/e%5Ef/g%7Ch/i%5Cj"),
        (("",), "#/"),
        (("ü",), "#/%C3%BC"),
        (("\ud800",), "#/%3F"),
        (("a", "x" * 600, "b"), "#/a"),
    ],
)
def test_pointers_are_uri_fragments_of_json_pointers(
    path: tuple[str | int, ...], expected: str
) -> None:
    """RFC 6901, section 6, with its own examples; one too long stops at its parent."""
    assert expected == pointer(path)


def test_types_are_unique_and_statuses_are_errors() -> None:
    """A caller switches on the type."""
    assert len(KINDS) == len(BY_NAME)
    assert all(400 <= kind.status <= 599 for kind in KINDS)


@pytest.mark.parametrize(
    ("method", "path", "body", "headers", "status", "name"),
    [
        ("POST", "/v1/parcel", b"{", JSON, 400, "malformed"),
        ("POST", "/v1/parcel?a=1", GOOD, JSON, 400, "query"),
        ("POST", "/v1/parcel", GOOD, {**JSON, "host": "a b"}, 400, "request"),
        ("POST", "/v1/parcels", GOOD, JSON, 404, "not-found"),
        ("GET", "/v1/answers/" + "0" * 40, b"", {}, 404, "not-stored"),
        ("GET", "/v1/answers/x?a=1", b"", {}, 400, "query"),
        ("GET", "/v1/parcel", b"", {}, 405, "method"),
        ("DELETE", "/livez", b"", {}, 405, "method"),
        ("POST", "/v1/parcel", GOOD, {**JSON, "accept": "text/html"}, 406, "not-acceptable"),
        ("POST", "/v1/parcel", b" " * 5000, JSON, 413, "too-long"),
        ("POST", "/v1/parcel", GOOD, {"content-type": "text/plain"}, 415, "media-type"),
        ("POST", "/v1/parcel", GOOD, {}, 415, "media-type"),
        ("POST", "/v1/parcel", b"{}", JSON, 422, "constraint"),
        ("POST", "/v1/parcel", b'{"edges_mm":[1],"mood":"contrary"}', JSON, 422, "contradiction"),
        ("POST", "/v1/parcel", b'{"edges_mm":[1],"mood":"broken"}', JSON, 500, "bug"),
        ("GET", "/problems/none", b"", {}, 404, "not-found"),
    ],
)
def test_every_refusal_is_a_problem_document(
    client: TestClient[Litestar],
    method: str,
    path: str,
    body: bytes,
    headers: dict[str, str],
    status: int,
    name: str,
) -> None:
    """Right status, type, title and identifier, never stored, whatever refused it."""
    response = client.request(method, path, content=body, headers=headers)

    said = response.json()
    assert (status, "application/problem+json", "no-store") == (
        response.status_code,
        response.headers["content-type"],
        response.headers["cache-control"],
    )
    assert (BY_NAME[name].type, BY_NAME[name].title, status) == (
        said["type"],
        said["title"],
        said["status"],
    )
    assert response.headers["request-id"] == said["instance"]


def test_a_contradiction_points_at_its_field(client: TestClient[Litestar]) -> None:
    """A refusal of a question carries its faults."""
    body = b'{"edges_mm":[1],"mood":"contrary"}'

    errors = client.post("/v1/parcel", content=body, headers=JSON).json()["errors"]

    assert errors == [
        {"pointer": "#/edges_mm/0", "detail": "edges_mm[0] contradicts label; drop one."}
    ]


@pytest.mark.parametrize("mood", ["broken", "nan", "beyond"])
def test_a_bug_is_a_bare_500_that_is_logged(
    client: TestClient[Litestar], caplog: pytest.LogCaptureFixture, mood: str
) -> None:
    """No trace leaves; a number outside its promise is a bug as much as an exception."""
    body = f'{{"edges_mm":[1],"mood":"{mood}"}}'.encode()

    response = client.post("/v1/parcel", content=body, headers={**JSON, "request-id": "my-id"})

    assert response.status_code == 500
    assert "Traceback" not in response.text
    assert "Error" not in response.text
    assert "my-id" in caplog.text


def test_a_405_lists_what_is_allowed(client: TestClient[Litestar]) -> None:
    """The methods that the path takes."""
    allowed = client.get("/v1/parcel").headers["allow"]

    assert {"POST", "OPTIONS"} == set(allowed.split(", "))


def test_a_415_lists_what_can_be_sent(client: TestClient[Litestar]) -> None:
    """The media types of a question."""
    response = client.post("/v1/parcel", content=GOOD, headers={"content-type": "text/plain"})

    assert response.headers["accept"] == "application/json, application/vnd.msgpack"
