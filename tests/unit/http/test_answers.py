"""A question by POST, and its answer again by GET and HEAD."""

import msgspec
import pytest
from litestar import Litestar
from litestar.testing import TestClient

from tests.unit.http.conftest import JSON
from tests.unit.http.parcel import Counter, ParcelAnswer

BODY = b'{"edges_mm":[1,2]}'
MSGPACK = {"accept": "application/vnd.msgpack"}


@pytest.fixture
def place(client: TestClient[Litestar]) -> str:
    """Ask once and give the place of the answer."""
    return client.post("/v1/parcel", content=BODY, headers=JSON).headers["content-location"]


def test_an_answer_echoes_the_question_with_its_defaults(client: TestClient[Litestar]) -> None:
    """The answer can be understood and reproduced alone."""
    answer = client.post("/v1/parcel", content=BODY, headers=JSON).json()

    assert answer["question"] == {
        "label": "parcel",
        "edges_mm": [1.0, 2.0],
        "wrapping": {"kind": "paper", "layers": 1},
        "inner": None,
        "fragile": False,
        "mood": "well",
    }


def test_an_answer_may_be_asked_for_in_msgpack(client: TestClient[Litestar]) -> None:
    """Encoding of question and answer are chosen apart."""
    response = client.post("/v1/parcel", content=BODY, headers={**JSON, **MSGPACK})

    answer = msgspec.msgpack.decode(response.content, type=ParcelAnswer)
    assert response.headers["content-type"] == "application/vnd.msgpack"
    assert answer.state is not None
    assert answer.state.total_mm == 3.0


def test_a_question_in_msgpack_gets_json_unless_it_asks_otherwise(
    client: TestClient[Litestar],
) -> None:
    """JSON is the default in every direction."""
    body = msgspec.msgpack.encode({"edges_mm": [1, 2]})
    kind = {"content-type": "application/vnd.msgpack"}

    assert client.post("/v1/parcel", content=body, headers=kind).json()["state"]["total_mm"] == 3.0


def test_the_same_answer_is_got_again(client: TestClient[Litestar], place: str) -> None:
    """GET gives the bytes of the POST, with the tag that the POST told."""
    asked = client.post("/v1/parcel", content=BODY, headers=JSON)

    fetched = client.get(place)

    assert (200, asked.content) == (fetched.status_code, fetched.content)
    told = ("etag", "content-type", "content-location", "vary", "content-length")
    assert [asked.headers[name] for name in told] == [fetched.headers[name] for name in told]
    assert fetched.headers["cache-control"] == "public, max-age=86400, immutable"
    assert fetched.headers["cache-status"] == "loopmargin-answers; hit"


def test_head_is_get_without_the_body(client: TestClient[Litestar], place: str) -> None:
    """Same headers, length included."""
    got, headed = client.get(place), client.head(place)

    assert headed.content == b""
    assert {**got.headers, "request-id": ""} == {**headed.headers, "request-id": ""}


def test_tags_differ_between_encodings(client: TestClient[Litestar], place: str) -> None:
    """A strong tag belongs to bytes."""
    assert client.get(place).headers["etag"] != client.get(place, headers=MSGPACK).headers["etag"]


def test_both_encodings_say_the_same(client: TestClient[Litestar], place: str) -> None:
    """Writing a stored answer as msgpack changes no value and no type."""
    json_form = msgspec.json.decode(client.get(place).content, type=ParcelAnswer)
    msgpack_form = client.get(place, headers=MSGPACK).content

    assert msgspec.msgpack.encode(json_form) == msgpack_form


@pytest.mark.parametrize("method", ["GET", "HEAD"])
@pytest.mark.parametrize("form", ["{}", "W/{}", '"x", {}', "*"])
def test_a_known_answer_is_304(
    client: TestClient[Litestar], place: str, method: str, form: str
) -> None:
    """With the headers that a cache needs, and no body."""
    got = client.get(place)
    condition = {"if-none-match": form.format(got.headers["etag"])}

    response = client.request(method, place, headers=condition)

    assert (response.status_code, response.content) == (304, b"")
    kept = ("etag", "cache-control", "vary", "content-location")
    assert [got.headers[name] for name in kept] == [response.headers[name] for name in kept]


def test_a_tag_of_the_other_encoding_is_no_304(client: TestClient[Litestar], place: str) -> None:
    """The condition is about the representation asked for."""
    condition = {"if-none-match": client.get(place).headers["etag"], **MSGPACK}

    assert client.get(place, headers=condition).status_code == 200


def test_a_post_is_never_304(client: TestClient[Litestar]) -> None:
    """RFC 9110 leaves that to GET and HEAD."""
    response = client.post("/v1/parcel", content=BODY, headers={**JSON, "if-none-match": "*"})

    assert response.status_code == 200


def test_an_answer_that_is_not_stored_is_404_and_not_kept(client: TestClient[Litestar]) -> None:
    """It may be stored a moment later."""
    response = client.get("/v1/answers/" + "0" * 40)

    assert (response.status_code, response.headers["cache-control"]) == (404, "no-store")
    assert "cache-status" not in response.headers


def test_nothing_but_a_digest_is_stored(client: TestClient[Litestar]) -> None:
    """Odd names are not found, however long or strange."""
    names = ("x", "..%2F..%2Flivez", "0" * 4000, "%00", "é")

    assert {404} == {client.get(f"/v1/answers/{name}").status_code for name in names}


def test_equal_questions_are_computed_once(client: TestClient[Litestar], counter: Counter) -> None:
    """In any spelling and any encoding."""
    client.post("/v1/parcel", content=BODY, headers=JSON)
    client.post("/v1/parcel", content=b'{ "edges_mm": [1.0, 2e0] }', headers=JSON)
    client.post("/v1/parcel", content=BODY, headers={**JSON, **MSGPACK})

    assert counter.calls == 1


def test_options_tells_the_methods(client: TestClient[Litestar], place: str) -> None:
    """For questions and for answers."""
    question, answer = client.options("/v1/parcel"), client.options(place)

    assert {"OPTIONS", "POST"} == set(question.headers["allow"].split(", "))
    assert {"GET", "HEAD", "OPTIONS"} == set(answer.headers["allow"].split(", "))
