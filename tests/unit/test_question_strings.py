"""What a caller may write in a question is restricted, letter by letter."""

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

DOCUMENT: dict[str, Any] = json.loads(Path("openapi/openapi.json").read_bytes())
SCHEMAS: dict[str, Any] = DOCUMENT["components"]["schemas"]
QUESTIONS = {
    path: methods["post"]["requestBody"]["content"]["application/json"]["schema"]
    for path, methods in DOCUMENT["paths"].items()
    if "post" in methods
}
RESTRICTIONS = {"pattern", "format", "enum", "const"}


def strings(piece: object, place: str, seen: set[str]) -> Iterator[tuple[str, dict[str, Any]]]:
    """List the schemas of strings below a schema; each component is entered once."""
    if isinstance(piece, list):
        for number, member in enumerate(piece):
            yield from strings(member, f"{place}/{number}", seen)
    if not isinstance(piece, dict):
        return
    name = str(piece.get("$ref", "")).rpartition("/")[2]
    if name and name not in seen:
        seen.add(name)
        yield from strings(SCHEMAS[name], name, seen)
    if piece.get("type") == "string":
        yield place, piece
    for key in piece.keys() - {"example", "examples", "default"}:
        yield from strings(piece[key], f"{place}/{key}", seen)


@pytest.mark.parametrize("path", sorted(QUESTIONS))
def test_every_string_asked_for_has_a_pattern_and_a_length(path: str) -> None:
    """Or it is one word of a list."""
    found = dict(strings(QUESTIONS[path], path, set()))

    assert found
    assert [place for place, piece in found.items() if not RESTRICTIONS & piece.keys()] == []
    assert [
        place for place, piece in found.items() if "pattern" in piece and "maxLength" not in piece
    ] == []
