"""What the contract tests share: the served document, its serializer, the checks and why."""

from collections.abc import Callable
from typing import Any
from zlib import crc32

import msgspec
import schemathesis
from litestar.types import ASGIApp, Receive, Scope, Send
from schemathesis.generation.case import Case
from schemathesis.generation.meta import TestPhase
from schemathesis.hooks import HookContext

from loopmargin_service.http.app import create_app
from loopmargin_service.http.routes import ROUTES
from loopmargin_service.http.settings import Settings
from tests.fuzz.mending import mended

Document = dict[str, Any]

MSGPACK = "application/vnd.msgpack"
CONTRADICTION = "/problems/contradiction"

# A question inside every published limit may still contradict itself, such as a curve
# that rises; no JSON Schema can say that. Such a question is refused with 422 and one
# type of its own. That it has this type, and never that of a broken limit, is checked by
# `refused_by_name` below; the share that is refused is bounded in test_http_share.py.
CHECKS = {"positive_data_acceptance": {"expected-statuses": ["2xx", "3xx", "404", "422"]}}
# A busy machine may take longer than the tool would wait, and than the service allows, which is
# time on the clock. So both wait here, and what counts is processor time (`ways.py`).
WHOLE = {"checks": CHECKS, "request-timeout": 900.0}
NO_KEYS = Settings(worker_processes=0, deadline_s=600.0)
# The tool tries every bound of every field in turn. Whoever asks about a whole machine has
# thousands of them, nearly all in the parts that these three have too; the rest is left to
# the long form.
QUESTIONS = {row.path for row in ROUTES}
PARTS = {"/v1/radiator-area", "/v1/pump-head", "/v1/supply-headroom"}
# The path of a stored answer is in a header; that the expression cuts it out is the tool's own.
DIGEST = {"digest": "$response.header.Content-Location#regex:/v1/answers/(.+)"}
STORED = {
    name: {"operationId": name, "parameters": DIGEST}
    for name in ("storedAnswer", "storedAnswerHead")
}
BRIEF = {
    **WHOLE,
    "operations": [
        {"include-path": row.path, "phases": {"coverage": {"enabled": False}}}
        for row in ROUTES
        if row.path not in PARTS
    ],
}


@schemathesis.serializer(MSGPACK)
def as_msgpack(_context: schemathesis.SerializationContext, value: object) -> bytes:
    """Write a body as msgpack; what msgpack cannot hold is sent as JSON would spell it."""
    try:
        return msgspec.msgpack.encode(value)
    except (OverflowError, TypeError):
        return msgspec.json.encode(value)


@schemathesis.deserializer(MSGPACK)
def from_msgpack(_context: schemathesis.DeserializationContext, response: Any) -> object:  # noqa: ANN401 - the tool's
    """Read an answer in msgpack."""
    return msgspec.msgpack.decode(response.content)


@schemathesis.check
def refused_by_name(
    _context: schemathesis.CheckContext, response: schemathesis.Response, case: Case[Any]
) -> None:
    """Refuse nothing inside the published limits but contradictions, and those by field."""
    if response.status_code != 422 or not positive(case):
        return
    said = response.json()
    assert said["type"] == CONTRADICTION
    assert said["errors"]
    assert all(error["pointer"].startswith("#/") for error in said["errors"])


def odd_half(case: Case[Any]) -> bool:
    """Tell apart two halves of the cases, always the same ones."""
    return crc32(repr((case.body, case.path_parameters)).encode()) % 2 == 1


def positive(case: Case[Any]) -> bool:
    """Tell whether a request was meant to fit the schema."""
    return case.meta is None or case.meta.generation.mode.is_positive


def standing(app: ASGIApp) -> ASGIApp:
    """Keep an application up between requests, each of which would start and stop it."""

    async def kept(scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "lifespan":
            await app(scope, receive, send)
            return
        await receive()
        await send({"type": "lifespan.startup.complete"})
        await receive()
        await send({"type": "lifespan.shutdown.complete"})

    return kept


def of_a_service_with_keys(document: Document) -> Document:
    """Say what the document leaves open, as it is the same for all: that here a key is wanted."""
    for methods in document["paths"].values():
        for operation in methods.values():
            if operation.get("security"):
                operation["security"] = [{"key": []}]
    return document


def with_links(document: Document) -> Document:
    """Say how the path of a stored answer follows from the response that names it."""
    for path in QUESTIONS:
        document["paths"][path]["post"]["responses"]["200"]["links"] = STORED
    return document


def unchanged(document: Document) -> Document:
    """Take the document as it is."""
    return document


def served(
    form: Document,
    *,
    keep_one_in: int = 1,
    settings: Settings = NO_KEYS,
    read: Callable[[Document], Document] = unchanged,
) -> schemathesis.BaseSchema:
    """Load the document from the application, in the process.

    Of the sweep over every bound, what has to be computed takes the time; one in a few of
    those questions is kept, always the same ones.
    """
    config = schemathesis.Config.from_dict(form)
    app = standing(create_app(settings))
    document = schemathesis.openapi.from_asgi("/openapi.json", app).raw_schema
    schema = schemathesis.openapi.from_dict(read(document), config=config)
    schema.app = app

    @schema.hook
    def filter_case(_context: HookContext, case: Case[Any]) -> bool:
        """Leave out most of the sweep inside the limits."""
        computed = positive(case) and isinstance(case.body, dict) and swept(case)
        return not computed or crc32(msgspec.json.encode(case.body)) % keep_one_in == 0

    @schema.hook
    def map_case(_context: HookContext, case: Case[Any]) -> Case[Any]:
        """Mend what fits the schema; what is meant to be refused stays as it is."""
        if positive(case) and isinstance(case.body, dict):
            case.body = mended(case.body)
        return case

    return schema


def swept(case: Case[Any]) -> bool:
    """Tell whether a request belongs to the sweep over every bound."""
    return case.meta is not None and case.meta.phase.name is TestPhase.COVERAGE
