"""The published document: served as committed, built from the types, bounded everywhere."""

import json
import re
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import jsonschema_rs
import msgspec
import pytest
from litestar import Litestar
from litestar.testing import TestClient
from openapi_spec_validator import validate

from loopmargin_service.http.openapi import document, example_answer, main, read_examples, spelled
from loopmargin_service.http.problems import KINDS
from loopmargin_service.http.routes import ROUTES, Route

COMMITTED = Path("openapi/openapi.json")
EXAMPLES = Path("openapi/examples")
DOCUMENT: dict[str, Any] = json.loads(COMMITTED.read_bytes())
SCHEMAS: dict[str, Any] = DOCUMENT["components"]["schemas"]
BY_ROW = pytest.mark.parametrize("row", ROUTES, ids=[row.name for row in ROUTES])


def pieces(value: object, place: str = "#") -> Iterator[tuple[str, dict[str, Any]]]:
    """List every object of a document with its place."""
    if isinstance(value, dict):
        yield place, value
        for name, member in value.items():
            if name not in {"example", "examples", "default"}:
                yield from pieces(member, f"{place}/{name}")
    elif isinstance(value, list):
        for number, member in enumerate(value):
            yield from pieces(member, f"{place}/{number}")


def of_type(name: str) -> Iterator[tuple[str, dict[str, Any]]]:
    """List the schemas of one JSON type."""
    return ((place, piece) for place, piece in pieces(SCHEMAS) if piece.get("type") == name)


def close(expected: Any, actual: Any) -> bool:  # noqa: ANN401 - JSON
    """Compare two documents; computed numbers may differ in their last digits."""
    if isinstance(expected, dict) and isinstance(actual, dict):
        return expected.keys() == actual.keys() and all(
            close(expected[name], actual[name]) for name in expected
        )
    if isinstance(expected, list) and isinstance(actual, list):
        return len(expected) == len(actual) and all(map(close, expected, actual))
    if isinstance(expected, float) and isinstance(actual, float):
        return actual == pytest.approx(expected, rel=1e-7, abs=1e-9)
    return bool(expected == actual)


def test_what_is_served_is_what_is_committed(client: TestClient[Litestar]) -> None:
    """Byte for byte, at a stable path, with a tag."""
    response = client.get("/openapi.json")

    assert response.content == COMMITTED.read_bytes()
    tag = {"if-none-match": response.headers["etag"]}
    assert client.get("/openapi.json", headers=tag).status_code == 304


def test_what_is_committed_is_what_the_table_gives() -> None:
    """`make openapi` has been run since the last change."""
    built = document(ROUTES, read_examples(EXAMPLES, ROUTES))

    assert spelled(built) == COMMITTED.read_bytes()


@BY_ROW
def test_the_example_answer_is_computed_and_not_invented(row: Route) -> None:
    """Asking the example question again gives the example answer."""
    committed = json.loads((EXAMPLES / f"{row.name}.answer.json").read_bytes())

    assert close(committed, json.loads(example_answer(row, EXAMPLES)))


@BY_ROW
def test_the_examples_fit_their_schemas(row: Route) -> None:
    """By an independent validator (jsonschema-rs)."""
    operation = DOCUMENT["paths"][row.path]["post"]
    for part in (operation["requestBody"], operation["responses"]["200"]):
        content = part["content"]["application/json"]
        schema = {**content["schema"], "components": DOCUMENT["components"]}
        jsonschema_rs.validate(schema, content["example"])


def test_the_document_is_valid_openapi() -> None:
    """By an independent validator (openapi-spec-validator)."""
    validate(DOCUMENT)


def test_every_reference_leads_somewhere() -> None:
    """Also those in the mappings of discriminators, which validators pass over."""
    targets = {piece["$ref"] for _, piece in pieces(DOCUMENT) if "$ref" in piece}
    for _, piece in pieces(DOCUMENT):
        targets.update(piece.get("discriminator", {}).get("mapping", {}).values())

    for target in targets:
        found = DOCUMENT
        for step in target.removeprefix("#/").split("/"):
            found = found[step]


@pytest.mark.parametrize("kind", ["number", "integer"])
def test_every_number_has_both_bounds_a_format_and_a_unit(kind: str) -> None:
    """In questions, in answers and in refusals."""
    lacking = [
        (place, name)
        for place, piece in of_type(kind)
        for name in ("minimum", "maximum", "format", "x-unit")
        if name not in piece
    ]

    assert lacking == []


def test_every_list_and_every_text_is_bounded() -> None:
    """A text is bounded by its length or by the words that it may be."""
    lists = [place for place, piece in of_type("array") if "maxItems" not in piece]
    texts = [place for place, piece in of_type("string") if not {"maxLength", "enum"} & set(piece)]

    assert (lists, texts) == ([], [])


@BY_ROW
def test_questions_are_closed_all_the_way_down(row: Route) -> None:
    """What the decoder refuses, the document forbids."""
    _, components = msgspec.json.schema_components([row.question], ref_template="{name}")

    opened = [name for name in components if SCHEMAS[name].get("additionalProperties") is not False]

    assert opened == []


@BY_ROW
def test_every_word_of_a_question_is_described(row: Route) -> None:
    """A field that takes one word of several says what the words are about."""
    _, components = msgspec.json.schema_components([row.question], ref_template="{name}")

    silent = [
        f"{name}.{field}"
        for name in components
        for field, schema in SCHEMAS[name].get("properties", {}).items()
        if len(schema.get("enum", ())) > 1 and len(schema.get("description", "")) < 10
    ]
    assert silent == []


@BY_ROW
def test_every_question_is_described(row: Route) -> None:
    """What it answers, on what grounds, how far to trust it, and that it may be repeated."""
    operation = DOCUMENT["paths"][row.path]["post"]

    assert len(operation["summary"]) <= 60
    for said in ("Assumes:", "Method:", "Validity:", "Safe and idempotent"):
        assert said in operation["description"]
    statuses = {"200", "400", "401", "406", "408", "413", "414", "415", "422", "429", "431"}
    assert set(operation["responses"]) == statuses | {"500", "503", "504"}
    assert operation["security"] == [{"key": []}, {}]


def test_operation_ids_are_unique_and_camel_case() -> None:
    """Client generators name their methods after them."""
    names = [
        operation["operationId"]
        for path in DOCUMENT["paths"].values()
        for operation in path.values()
    ]

    assert len(names) == len(set(names))
    assert all(re.fullmatch(r"[a-z]+([A-Z][a-z]*)*", name) for name in names)


def test_every_response_describes_its_headers() -> None:
    """The Request-Id is on all of them."""
    responses = [
        response
        for path in DOCUMENT["paths"].values()
        for operation in path.values()
        for response in operation["responses"].values()
        if "$ref" not in response
    ]
    responses += DOCUMENT["components"]["responses"].values()

    assert all("Request-Id" in response["headers"] for response in responses)


def test_every_problem_type_is_in_the_document() -> None:
    """A caller can learn all of them; the method is told of in words."""
    shown = json.dumps(DOCUMENT["components"]["responses"])
    missing = [kind.name for kind in KINDS if kind.type not in shown]

    assert missing == ["method"]


def test_patterns_are_published_without_our_end_mark() -> None:
    """`$` ends the whole text in JSON Schema; ours is for a dialect where it does not."""
    patterns = {
        piece["pattern"] for _, piece in pieces(DOCUMENT) if isinstance(piece.get("pattern"), str)
    }

    assert patterns
    assert all(pattern.endswith("$") for pattern in patterns)


def test_writing_and_checking_agree(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """What is written passes the check; what was changed since does not."""
    shutil.copytree(EXAMPLES, tmp_path / "examples")

    assert main(["--directory", str(tmp_path)]) == 0
    assert main(["--directory", str(tmp_path), "--check"]) == 0
    (tmp_path / "openapi.json").write_text("{}")
    assert main(["--directory", str(tmp_path), "--check"]) == 1
    assert "is not what the code gives" in capsys.readouterr().err
