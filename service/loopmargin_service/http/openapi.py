"""The OpenAPI document, built from the table of questions and the wire types.

`python -m loopmargin_service.http.openapi` answers the example questions again and writes
the document. The service serves what was written, so what is served is what was reviewed.
"""

import argparse
import json
import sys
from collections.abc import Sequence
from importlib.metadata import version
from pathlib import Path
from typing import Any

import msgspec

from loopmargin_service.http.decode import Reader
from loopmargin_service.http.health import Alive, Ready
from loopmargin_service.http.media import Media
from loopmargin_service.http.openapi_headers import READ, SENT
from loopmargin_service.http.openapi_operations import (
    SECURITY_SCHEMES,
    health_paths,
    question_path,
    reference_paths,
    stored_answer_path,
)
from loopmargin_service.http.openapi_refusals import shared_responses
from loopmargin_service.http.openapi_schemas import component_schemas
from loopmargin_service.http.routes import ROUTES, Route
from loopmargin_wire.problem import Problem

Document = dict[str, Any]

PUBLISHED = Path(__file__).with_name("openapi.json")
ABOUT = """\
How warm, how loud and how power-hungry will a one-off liquid-cooled computer be, and by what \
margin does it hold? Each question is one POST; each answer says what is demanded, what is \
available, what is left over, how sure that is, and where the numbers come from.

Numbers are JSON numbers with the unit in the name of the field (`heat_w`, `flow_l_per_min`); \
ratios are fractions. A number is never NaN, infinite or null where one is promised. Bodies are \
JSON or msgpack by Content-Type, answers by Accept. A body holds no unknown field and no field \
twice; a whole number may be written `1.0`.

Refusals are `application/problem+json` (RFC 9457) with one entry of `errors` for each field at \
fault. Other methods on a path are refused with 405 and `Allow`, other paths with 404. What is \
not HTTP, or could be read in two ways, is refused with 400 and the connection closed.

A service may ask for a key: `Authorization: Bearer <id>.<secret>`. Health and reference pages are \
open. Where there are keys each has a quota of work; `RateLimit-Policy` names it and `RateLimit` \
what is left.

Answers carry the `edition` of the numbers. The same question in the same edition has the same \
answer; fields may be added to answers, so ignore those you do not know."""
TAGS = {
    "cooling": "Radiators and the air through them.",
    "loop": "Pumps, tubes, fittings and the flow they settle at.",
    "supply": "Electrical power, from the parts to the mains.",
    "machine": "The whole machine at once.",
    "stored-answers": "Answers already given, under the digest of their question.",
    "health": "For balancers and supervisors.",
    "reference": "What is published about this interface.",
}


def document(rows: tuple[Route, ...], examples: dict[str, Document]) -> Document:
    """Build the document; the examples are by name of question."""
    paths = {row.path: question_path(row, examples[row.name]) for row in rows}
    types = [kind for row in rows for kind in (row.question, row.answer, *row.records, *row.packed)]
    return {
        "openapi": "3.1.0",
        "info": {
            "title": "loopmargin",
            "summary": "Sizing margins of one-off liquid-cooled computers.",
            "description": ABOUT,
            "version": version("loopmargin"),
            "license": {"name": "Apache License 2.0", "identifier": "Apache-2.0"},
        },
        "servers": [{"url": "/", "description": "This service.", "x-internal": True}],
        "security": [],
        "tags": [{"name": name, "description": text} for name, text in TAGS.items()],
        "paths": {
            **paths,
            "/v1/answers/{digest}": stored_answer_path(rows),
            **health_paths(),
            **reference_paths(),
        },
        "components": {
            "schemas": component_schemas([*types, Problem, Alive, Ready]),
            "responses": shared_responses(),
            "headers": SENT,
            "parameters": READ,
            "securitySchemes": SECURITY_SCHEMES,
        },
    }


def read_examples(directory: Path, rows: tuple[Route, ...]) -> dict[str, Document]:
    """Read the example question and answer of each row."""
    return {
        row.name: {
            part: json.loads((directory / f"{row.name}.{part}.json").read_bytes())
            for part in ("question", "answer")
        }
        for row in rows
    }


def example_answer(row: Route, directory: Path) -> bytes:
    """Answer the example question of a row."""
    body = (directory / f"{row.name}.question.json").read_bytes()
    question = Reader(row.question).read(body, Media.JSON)
    return spelled(msgspec.to_builtins(row.compute(question)))


def spelled(content: Any) -> bytes:  # noqa: ANN401 - any JSON document
    """Write a document so that its differences can be read line by line."""
    return msgspec.json.format(msgspec.json.encode(content), indent=2) + b"\n"


def main(arguments: Sequence[str] | None = None) -> int:
    """Write the example answers and the document, or check that the document is up to date."""
    parser = argparse.ArgumentParser(description=main.__doc__)
    parser.add_argument("--directory", type=Path, default=Path("openapi"))
    parser.add_argument("--check", action="store_true", help="write nothing, fail on a difference")
    given = parser.parse_args(arguments)
    examples = given.directory / "examples"
    if not given.check:
        for row in ROUTES:
            (examples / f"{row.name}.answer.json").write_bytes(example_answer(row, examples))
    target = given.directory / "openapi.json"
    built = spelled(document(ROUTES, read_examples(examples, ROUTES)))
    if not given.check:
        target.write_bytes(built)
        sys.stdout.write(f"{len(ROUTES)} questions written to {target}\n")
    elif built != target.read_bytes():
        sys.stderr.write(f"{target} is not what the code gives; run without --check\n")
        return 1
    return 0


if __name__ == "__main__":
    sys.exit(main())
