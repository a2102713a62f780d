"""The reference as static HTML, written from the OpenAPI document and the table of problems."""

import json
from typing import Any

from loopmargin_service.http.markup import Html, element, joined, line, page, prose, table
from loopmargin_service.http.problems import KINDS, Kind
from loopmargin_service.http.reference_fields import fields, type_section

Document = dict[str, Any]
TITLE = "loopmargin reference"


def reference_page(document: Document) -> bytes:
    """Write the whole reference."""
    operations = [
        _operation(document, path, method, operation)
        for path, method, operation in _shown(document)
    ]
    types = [
        type_section(name, document["components"]["schemas"])
        for name in document["components"]["schemas"]
    ]
    info = document["info"]
    return page(
        TITLE,
        _navigation(document),
        element(
            "main",
            element("h1", info["title"]),
            element("p", f"Version {info['version']} of the interface. ", _document_link()),
            prose(info["description"]),
            *operations,
            element("h2", "Problem types", id="problems"),
            _problem_table(),
            element("h2", "Types", id="types"),
            *types,
        ),
    )


def problem_index() -> bytes:
    """Write the list of problem types."""
    return _small_page("Problem types", _problem_table())


def problem_page(kind: Kind) -> bytes:
    """Write the page that the `type` of a problem points at."""
    facts = [
        ("Type", element("code", kind.type)),
        ("Status", str(kind.status)),
        ("Title", kind.title),
    ]
    return _small_page(kind.title, table(("What", "Value"), facts), prose(kind.meaning))


def _small_page(title: str, *content: str) -> bytes:
    home = element("p", element("a", TITLE, href="/docs"))
    return page(title, element("main", home, element("h1", title), *content))


def _shown(document: Document) -> list[tuple[str, str, Document]]:
    """List the operations worth a section; HEAD is told of beside GET."""
    return [
        (path, method, operation)
        for path, methods in document["paths"].items()
        for method, operation in methods.items()
        if method != "head"
    ]


def _navigation(document: Document) -> Html:
    groups = []
    for tag in document["tags"]:
        links = [
            element("li", element("a", operation["summary"], href=f"#{operation['operationId']}"))
            for _, _, operation in _shown(document)
            if tag["name"] in operation["tags"]
        ]
        if links:
            name = tag["name"].replace("-", " ")
            groups += [element("h2", name), element("ul", *links)]
    rest = element(
        "ul",
        element("li", element("a", "Problem types", href="#problems")),
        element("li", element("a", "Types", href="#types")),
    )
    return element("nav", *groups, element("h2", "more"), rest)


def _operation(document: Document, path: str, method: str, operation: Document) -> Html:
    also = " and HEAD" if "head" in document["paths"][path] else ""
    return element(
        "section",
        element("h2", operation["summary"], id=operation["operationId"]),
        element(
            "p",
            element("span", f"{method.upper()}{also}", class_=f"method {method}"),
            " ",
            element("code", path),
            class_="path",
        ),
        prose(operation["description"]),
        _request(document, operation),
        element("h3", "Responses"),
        _responses(document, operation),
        _examples(operation),
    )


def _request(document: Document, operation: Document) -> Html:
    if "requestBody" not in operation:
        return Html("")
    body = operation["requestBody"]["content"]["application/json"]["schema"]
    answer = operation["responses"]["200"]["content"]["application/json"]["schema"]
    schemas = document["components"]["schemas"]
    return joined(
        element("h3", "Question"),
        fields(_resolved(document, body), schemas),
        element("h3", "Answer"),
        fields(_resolved(document, answer), schemas),
    )


def _responses(document: Document, operation: Document) -> Html:
    rows = []
    for status, response in operation["responses"].items():
        said = _resolved(document, response)
        headers = ", ".join(f"`{name}`" for name in said.get("headers", {}))
        rows.append((status, prose(said["description"]), line(headers)))
    return table(("Status", "Meaning", "Headers"), rows, class_="responses")


def _examples(operation: Document) -> Html:
    if "requestBody" not in operation:
        return Html("")
    parts = {
        "Example question": operation["requestBody"],
        "Example answer": operation["responses"]["200"],
    }
    return joined(
        *(
            element(
                "details",
                element("summary", title),
                element("pre", element("code", _spelled(part))),
            )
            for title, part in parts.items()
        )
    )


def _spelled(part: Document) -> str:
    example = part["content"]["application/json"]["example"]
    return json.dumps(example, indent=2, ensure_ascii=False)


def _resolved(document: Document, schema: Document) -> Document:
    """Follow one reference into the components."""
    if "$ref" not in schema:
        return schema
    found: Document = document
    for step in schema["$ref"].removeprefix("#/").split("/"):
        found = found[step]
    return found


def _problem_table() -> Html:
    rows = [
        (
            element("a", element("code", kind.type), href=kind.type),
            str(kind.status),
            kind.title,
        )
        for kind in KINDS
    ]
    return table(("Type", "Status", "Title"), rows)


def _document_link() -> Html:
    return joined("The same as ", element("a", "OpenAPI 3.1", href="/openapi.json"), ".")
