"""A request equal to an answered one is answered without decoding it."""

import pytest
from litestar import Litestar
from litestar.testing import TestClient

from loopmargin_service.http import decode
from tests.unit.http.conftest import JSON
from tests.unit.http.parcel import Counter

BODY = b'{"edges_mm":[1,2]}'


def test_the_second_time_nothing_is_decoded(
    client: TestClient[Litestar], counter: Counter, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Same answer, same tag, no reader involved."""
    first = client.post("/v1/parcel", content=BODY, headers=JSON)
    monkeypatch.delattr(decode.Reader, "read")

    second = client.post("/v1/parcel", content=BODY, headers=JSON)

    assert (200, first.content, first.headers["etag"], 1) == (
        second.status_code,
        second.content,
        second.headers["etag"],
        counter.calls,
    )
    assert [first.headers["cache-status"], second.headers["cache-status"]] == [
        "loopmargin-answers; fwd=miss; stored",
        "loopmargin-answers; hit",
    ]


def test_another_spelling_is_decoded_but_not_computed(
    client: TestClient[Litestar], counter: Counter
) -> None:
    """The digest finds it."""
    client.post("/v1/parcel", content=BODY, headers=JSON)

    second = client.post("/v1/parcel", content=BODY + b" ", headers=JSON)

    assert (second.headers["cache-status"], counter.calls) == ("loopmargin-answers; hit", 1)


@pytest.mark.parametrize(
    "headers",
    [
        {"accept": "application/vnd.msgpack"},
        {"content-type": "text/plain"},
        {"content-encoding": "gzip"},
    ],
)
def test_another_header_is_another_request(
    client: TestClient[Litestar], headers: dict[str, str]
) -> None:
    """What changes the answer or refuses it is never skipped."""
    first = client.post("/v1/parcel", content=BODY, headers=JSON)

    second = client.post("/v1/parcel", content=BODY, headers={**JSON, **headers})

    assert first.content != second.content


def test_a_query_is_refused_also_the_second_time(client: TestClient[Litestar]) -> None:
    """The path with a query is not the path without."""
    client.post("/v1/parcel", content=BODY, headers=JSON)

    assert client.post("/v1/parcel?x=1", content=BODY, headers=JSON).status_code == 400


def test_a_body_in_chunks_reaches_the_question(client: TestClient[Litestar]) -> None:
    """Without a length the layer stands aside."""
    response = client.post("/v1/parcel", content=iter([BODY[:5], BODY[5:]]), headers=JSON)

    assert response.json()["state"]["total_mm"] == 3.0


def test_refusals_are_not_repeated_from_the_store(client: TestClient[Litestar]) -> None:
    """Only answers are stored."""
    names = {
        client.post("/v1/parcel", content=b"{}", headers=JSON).json()["instance"] for _ in range(2)
    }

    assert len(names) == 2
