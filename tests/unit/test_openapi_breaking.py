"""The comparison with the last release tells what breaks a client, and only that."""

import copy
from collections.abc import Callable
from typing import Any

import pytest

from tests.openapi_lint.breaking import Comparison, bare
from tests.openapi_lint.lint import Finding, Waiver, mistakes

Document = dict[str, Any]
Change = Callable[[Document], None]


PART = "#/components/schemas/Part"


def content(name: str) -> Document:
    """Refer to a schema as the body of a message."""
    schema = {"$ref": f"#/components/schemas/{name}"}
    return {"content": {"application/json": {"schema": schema}}}


RELEASED: Document = {
    "paths": {
        "/v1/area": {
            "post": {
                "parameters": [
                    {"name": "id", "in": "header", "required": False, "schema": {"type": "string"}}
                ],
                "requestBody": content("Asked"),
                "responses": {"200": {**content("Told"), "headers": {"ETag": {}}}},
            }
        }
    },
    "components": {
        "schemas": {
            "Asked": {
                "type": "object",
                "required": ["heat_w"],
                "additionalProperties": False,
                "properties": {
                    "heat_w": {"type": "number", "minimum": 0, "maximum": 5000},
                    "mode": {"enum": ["quiet", "fast"], "default": "quiet"},
                    "parts": {"type": "array", "maxItems": 8, "items": {"$ref": PART}},
                    "core": {"anyOf": [{"$ref": PART}, {"type": "null"}]},
                },
            },
            "Part": {
                "type": "object",
                "properties": {"name": {"type": "string", "maxLength": 60, "pattern": "^a"}},
            },
            "Told": {
                "type": "object",
                "required": ["verdict", "title"],
                "properties": {
                    "verdict": {"enum": ["meets", "fails"]},
                    "law": {"enum": ["one"]},
                    "title": {"type": "string"},
                },
            },
        }
    },
}


def schema(document: Document, name: str) -> Document:
    """Give the properties of one schema."""
    found: Document = document["components"]["schemas"][name]["properties"]
    return found


def demand(document: Document, name: str, field: str) -> None:
    """Make a field required."""
    document["components"]["schemas"][name].setdefault("required", []).append(field)


def breaks(change: Change) -> list[str]:
    """List what one change to the released document breaks."""
    changed = copy.deepcopy(RELEASED)
    change(changed)
    return Comparison(RELEASED, changed).breaks()


AREA = "POST /v1/area"


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (lambda d: d["paths"].clear(), f"{AREA}: removed"),
        (lambda d: schema(d, "Asked").pop("mode"), f"{AREA} Asked.mode: removed"),
        (lambda d: schema(d, "Told").pop("law"), f"{AREA} 200 Told.law: removed"),
        (lambda d: demand(d, "Asked", "mode"), f"{AREA} Asked.mode: required now"),
        (lambda d: demand(d, "Part", "name"), f"{AREA} Asked.core Part.name: required now"),
        (
            lambda d: schema(d, "Asked")["heat_w"].update(maximum=4000),
            f"{AREA} Asked.heat_w: maximum 5000 became 4000",
        ),
        (
            lambda d: schema(d, "Asked")["heat_w"].update(minimum=1),
            f"{AREA} Asked.heat_w: minimum 0 became 1",
        ),
        (
            lambda d: schema(d, "Asked")["parts"].update(minItems=1),
            f"{AREA} Asked.parts: minItems none became 1",
        ),
        (
            lambda d: schema(d, "Part")["name"].update(pattern="^b"),
            f"{AREA} Asked.core Part.name: pattern changed",
        ),
        (
            lambda d: schema(d, "Asked")["mode"].update(enum=["quiet"]),
            f'{AREA} Asked.mode: "fast" no longer accepted',
        ),
        (
            lambda d: schema(d, "Asked")["mode"].update(default="fast"),
            f"{AREA} Asked.mode: default quiet became fast",
        ),
        (
            lambda d: schema(d, "Asked")["core"]["anyOf"].pop(),
            f"{AREA} Asked.core: null is no longer one of the choices",
        ),
        (
            lambda d: schema(d, "Asked")["heat_w"].update(type="integer"),
            f"{AREA} Asked.heat_w: was integer or number, is integer",
        ),
        (
            lambda d: schema(d, "Told")["title"].update(type="number"),
            f"{AREA} 200 Told.title: was string, is integer or number",
        ),
        (
            lambda d: schema(d, "Told")["verdict"]["enum"].append("perhaps"),
            f'{AREA} 200 Told.verdict: "perhaps" added to a closed list',
        ),
        (
            lambda d: d["components"]["schemas"]["Told"].update(required=["verdict"]),
            f"{AREA} 200 Told.title: no longer promised",
        ),
        (
            lambda d: d["paths"]["/v1/area"]["post"]["responses"]["200"]["headers"].clear(),
            f"{AREA} 200: header ETag is no longer promised",
        ),
        (
            lambda d: d["paths"]["/v1/area"]["post"]["parameters"][0].update(required=True),
            f"{AREA}: id is required now",
        ),
    ],
)
def test_a_break_is_told_with_its_place(change: Change, said: str) -> None:
    """One change, one line."""
    assert [said] == breaks(change)


@pytest.mark.parametrize(
    "change",
    [
        lambda d: d["paths"].update({"/v1/new": {}}),
        lambda d: schema(d, "Asked").update(more={"type": "number", "default": 1}),
        lambda d: schema(d, "Told").update(more={"type": "number"}),
        lambda d: demand(d, "Told", "law"),
        lambda d: schema(d, "Asked")["heat_w"].update(maximum=9000),
        lambda d: schema(d, "Asked")["mode"]["enum"].append("both"),
        lambda d: schema(d, "Told")["law"]["enum"].append("two"),
        lambda d: schema(d, "Asked")["core"]["anyOf"].append({"type": "string"}),
        lambda d: d["paths"]["/v1/area"]["post"]["responses"].update({"429": {}}),
    ],
)
def test_growth_is_not_a_break(change: Change) -> None:
    """Questions may accept more, answers may tell more."""
    assert breaks(change) == []


def test_prose_is_not_compared_but_fields_named_like_it_are() -> None:
    """A field called `title` is a field, the title of a schema is not."""
    written = {"title": "A", "properties": {"title": {"type": "string", "title": "B"}}}

    assert bare(written) == {"properties": {"title": {"type": "string"}}}


def test_a_finding_needs_a_waiver_and_a_waiver_a_finding() -> None:
    """Neither may stand alone."""
    found = [Finding("limit", "/a/b", "Too long."), Finding("limit", "/c", "Too long.")]
    waived = [Waiver("limit", "Decided.", ("/a/.*",)), Waiver("other", "Decided.")]

    assert mistakes(found, waived) == [
        "limit at /c: Too long.",
        "the waiver of other is needed no more: take it out of waivers.json",
    ]
