"""Schemas of the OpenAPI document as table rows: field, type, limits, default, meaning."""

import json
import re
from typing import Any

from loopmargin_service.http.markup import Html, element, joined, line, prose, table

Schema = dict[str, Any]
Schemas = dict[str, Schema]
ASKED = ("Field", "Type", "Limits", "Default", "Meaning")
ANSWERED = ("Field", "Type", "Limits", "Meaning")
_UNIT = re.compile(r" \[[^\]]*\]$")


def type_section(name: str, schemas: Schemas) -> Html:
    """Describe one type with an anchor that tables link to."""
    heading = element("h3", name, id=anchor(name))
    text = prose(schemas[name].get("description", ""))
    return element("section", heading, text, fields(schemas[name], schemas))


def fields(schema: Schema, schemas: Schemas) -> Html:
    """List the fields of an object; a default is worth a column only where one can be left out."""
    asked = schema.get("additionalProperties") is False
    required = set(schema.get("required", ()))
    rows = [
        (
            _name(name),
            _kind(member),
            _limits(member),
            *((_default(member, needed=name in required),) if asked else ()),
            _meaning(member, schemas),
        )
        for name, member in map(_unwrapped, schema.get("properties", {}).items())
    ]
    if not rows:
        return element("p", "No fields.")
    return table(ASKED if asked else ANSWERED, rows, class_="asked" if asked else "answered")


def anchor(name: str) -> str:
    """Name the place of a type on the page."""
    return f"type-{name}"


def _name(name: str) -> Html:
    """Write the name of a field so that it may break where its words meet."""
    return element("code", Html(name.replace("_", "_<wbr>")))


def _unwrapped(item: tuple[str, Schema]) -> tuple[str, Schema]:
    """Show what may be null by what it is otherwise."""
    name, schema = item
    if {"type": "null"} not in schema.get("anyOf", ()):
        return item
    rest = {key: value for key, value in schema.items() if key != "anyOf"}
    present = [member for member in schema["anyOf"] if member.get("type") != "null"]
    shown = present[0] if len(present) == 1 else {"anyOf": present}
    return name, {**shown, **rest, "null": True}


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
    name = _named(target)
    return element("a", name, href=f"#{anchor(name)}")


def _named(target: str) -> str:
    return target.rsplit("/", 1)[-1]


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
    return element("code", json.dumps(schema.get("default")))


def _meaning(schema: Schema, schemas: Schemas) -> Html:
    """Say what a field stands for, in its own words or in the first of its type's."""
    own = schema.get("description", "")
    if own:
        return line(_UNIT.sub("", own))
    inner = schema.get("items", schema)
    if "$ref" in inner:
        return line(schemas[_named(inner["$ref"])].get("description", "").split("\n\n")[0])
    if "discriminator" in inner:
        return line(f"Told apart by `{inner['discriminator']['propertyName']}`.")
    return line(inner.get("description", ""))
