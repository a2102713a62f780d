"""Component schemas as msgspec publishes them, tidied for readers of JSON Schema."""

import inspect
from typing import Any

import msgspec
from msgspec import Struct

from loopmargin_service.questions.constraints import published

REFERENCE = "#/components/schemas/{name}"
Schema = dict[str, Any]


def component_schemas(types: list[type[Struct]]) -> dict[str, Schema]:
    """Describe the types and everything they are made of, by name."""
    _, components = msgspec.json.schema_components(types, ref_template=REFERENCE)
    return {name: _tidied(components[name]) for name in sorted(components)}


def reference(kind: type[Struct]) -> Schema:
    """Refer to the schema of a type."""
    return {"$ref": REFERENCE.format(name=kind.__name__)}


def paragraphs(text: str) -> str:
    """Undo the line breaks and the indent of a docstring; an empty line parts paragraphs."""
    blocks = inspect.cleandoc(text).split("\n\n")
    return "\n\n".join(" ".join(block.split()) for block in blocks)


def _tidied(value: Any) -> Any:  # noqa: ANN401 - any piece of a JSON document
    if isinstance(value, list):
        return [_tidied(member) for member in value]
    if not isinstance(value, dict):
        return value
    tidy = {name: _tidied(member) for name, member in value.items()}
    if isinstance(tidy.get("description"), str):
        tidy["description"] = paragraphs(tidy["description"])
    if isinstance(tidy.get("pattern"), str):
        tidy["pattern"] = published(tidy["pattern"])
    if "enum" in tidy and all(isinstance(word, str) for word in tidy["enum"]):
        tidy = {"type": "string", **tidy}
    return tidy
