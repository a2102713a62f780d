"""Numbers at their published bounds, many at once: where schema fuzzing seldom gets."""

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from litestar.testing import TestClient
from msgspec import inspect

from loopmargin_service.http.app import create_app
from loopmargin_service.http.routes import ROUTES, Route
from loopmargin_service.http.settings import Settings
from tests.fuzz.mending import mended

EXAMPLES = Path("openapi/examples")
JSON = {"content-type": "application/json"}
Place = tuple[str | int, ...]
CLIENT = TestClient(create_app(Settings()), raise_server_exceptions=False)
ROWS = pytest.mark.parametrize("row", ROUTES, ids=[row.name for row in ROUTES])


def numbers(value: Any, wanted: inspect.Type, path: Place) -> Iterator[tuple[Place, list[Any]]]:  # noqa: ANN401 - any JSON document
    """List every number of a question with its two bounds."""
    if isinstance(wanted, inspect.FloatType | inspect.IntType):
        yield path, [wanted.ge, wanted.le]
    for inner, kind, place in _inside(value, wanted, path):
        yield from numbers(inner, kind, place)


def _inside(value: Any, wanted: inspect.Type, path: Place) -> list[tuple[Any, inspect.Type, Place]]:  # noqa: ANN401 - any JSON document
    """List what a value is made of."""
    match wanted:
        case inspect.Metadata():
            return [(value, wanted.type, path)]
        case inspect.UnionType():
            return [(value, _meant(value, wanted), path)]
        case inspect.VarTupleType():
            return [(one, wanted.item_type, (*path, place)) for place, one in enumerate(value)]
        case inspect.StructType():
            named = {field.encode_name: field.type for field in wanted.fields}
            return [(value[name], named[name], (*path, name)) for name in named if name in value]
    return []


def _meant(value: object, wanted: inspect.UnionType) -> inspect.Type:
    """Pick the member of a union that an example uses."""
    members = [member for member in wanted.types if not isinstance(member, inspect.NoneType)]
    if len(members) == 1:
        return members[0]
    assert isinstance(value, dict)
    return next(
        member
        for member in members
        if isinstance(member, inspect.StructType) and member.tag == value[str(member.tag_field)]
    )


def put(document: Any, path: Place, value: object) -> None:  # noqa: ANN401 - any JSON document
    """Change one place."""
    for step in path[:-1]:
        document = document[step]
    document[path[-1]] = value


def ask(row: Route, data: st.DataObject) -> None:
    """Put any mixture of lowest, highest and usual values into the example question."""
    body = json.loads((EXAMPLES / f"{row.name}.question.json").read_bytes())
    for path, bounds in numbers(body, inspect.type_info(row.question), ()):
        value = data.draw(st.sampled_from([*bounds, None]))
        if value is not None:
            put(body, path, value)

    response = CLIENT.post(row.path, content=json.dumps(mended(body)), headers=JSON)

    assert response.status_code in {200, 422}, json.dumps(mended(body))
    if response.status_code == 422:
        assert response.json()["type"] == "/problems/contradiction"


@ROWS
@settings(max_examples=40, deadline=None)
@given(data=st.data())
def test_numbers_at_their_bounds_are_answered_or_refused_by_name(
    row: Route, data: st.DataObject
) -> None:
    """An answer or a named contradiction, never a fault of ours."""
    ask(row, data)


@pytest.mark.long
@ROWS
@settings(max_examples=2000, deadline=None)
@given(data=st.data())
def test_very_many_numbers_at_their_bounds(row: Route, data: st.DataObject) -> None:
    """The same with many more mixtures."""
    ask(row, data)
