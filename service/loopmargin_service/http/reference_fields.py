"""Schemas of the OpenAPI document as table rows: field, type, limits, default, meaning."""

import json
import re
from typing import Any

from loopmargin_service.http.markup import Html, element, joined, line, prose, table

Schema = dict[str, Any]
HEAD = ("Field", "Type", "Limits", "Default", "Meaning")
_UNIT = re.compile(r" \[[^\]]*\]$")


def type_section(name: str, schema: Schema) -> Html:
    """Describe one type with an anchor that tables link to."""
    heading = element("h3", name, id=anchor(name))
    return element("section", heading, prose(schema.get("description", "")), fields(schema))


def fields(schema: Schema) -> Html:
    """List the fields of an object."""
    required = set(schema.get("required", ()))
    rows = [
        (
            element("code", name),
            _kind(member),
            _limits(member),
            _default(member, needed=name in required),
            line(_UNIT.sub("", member.get("description", ""))),
        )
        for name, member in map(_unwrapped, schema.get("properties", {}).items())
    ]
    return table(HEAD, rows) if rows else element("p", "No fields.")


def anchor(name: str) -> str:
    """Name the place of a type on the page."""
    return f"type-{name}"


def _unwrapped(item: tuple[str, Schema]) -> tuple[str, Schema]:
    """Show an optional number or text by what it is when it is there."""
    name, schema = item
    present = [member for member in schema.get("anyOf", ()) if member.get("type") != "null"]
    if len(present) == 1 and len(schema["anyOf"]) > 1:
        return name, {
            **present[0],
            **{k: v for k, v in schema.items() if k != "anyOf"},
            "null": True,
        }
    return item


def _kind(schema: Schema) -> Html:
    """Name the type of a field, with links."""
    if "$ref" in schema:
        shown = _link(schema["$ref"])
    elif "anyOf" in schema:
        shown = _choice([_kind(member) for member in schema["anyOf"]])
    elif schema.get("type") == "array":
        shown = joined("list of ", _kind(schema["items"]))
    elif "enum" in schema:
        shown = _choice([element("code", json.dumps(word)) for word in schema["enum"]])
    else:
        shown = joined(str(schema.get("type", "any")))
    return joined(shown, " or null") if schema.get("null") else shown


def _choice(options: list[Html]) -> Html:
    parts = [piece for option in options for piece in (Html(" | "), option)]
    return joined(*parts[1:])


def _link(target: str) -> Html:
    name = target.rsplit("/", 1)[-1]
    return element("a", name, href=f"#{anchor(name)}")


def _limits(schema: Schema) -> Html:
    """Give the limits with the unit; of a text, its length and pattern."""
    if "minimum" in schema:
        unit = schema.get("x-unit", "1")
        shown = "" if unit in {"1", "see unit"} else f" {unit}"
        return joined(f"{schema['minimum']:g} to {schema['maximum']:g}{shown}")
    if "maxItems" in schema:
        return joined(f"{schema.get('minItems', 0)} to {schema['maxItems']} entries")
    if "maxLength" in schema:
        length = f"{schema.get('minLength', 0)} to {schema['maxLength']} characters"
        pattern = schema.get("pattern")
        return joined(length, *((" ", element("code", pattern)) if pattern else ()))
    return Html("")


def _default(schema: Schema, *, needed: bool) -> Html:
    if needed:
        return element("strong", "required")
    if "default" not in schema:
        return Html("optional")
    return element("code", json.dumps(schema["default"]))
