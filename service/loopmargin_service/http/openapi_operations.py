"""Each path of the service as OpenAPI operations, and the responses that they share."""

from typing import Any

from msgspec import Struct

from loopmargin_service.http.health import Alive, Ready
from loopmargin_service.http.media import Media
from loopmargin_service.http.openapi_headers import LIMITED, read, sent
from loopmargin_service.http.openapi_refusals import CONNECTION_REFUSALS, refer, silent_refusal
from loopmargin_service.http.openapi_schemas import paragraphs, reference
from loopmargin_service.http.routes import Route
from loopmargin_service.http.stream_media import StreamMedia

Described = dict[str, Any]

RETRY = (
    "Safe and idempotent: a pure calculation that changes nothing, so retry it freely. Equal "
    "questions have equal answers within one edition."
)
ALWAYS_ANSWERED = (
    "A question inside the published limits is answered with 200 even where the machine does not "
    "work: `outcome` then says why and what would help. Only fields that contradict each other "
    "are refused with 422."
)

SECURITY_SCHEMES: Described = {
    "key": {
        "type": "http",
        "scheme": "bearer",
        "bearerFormat": "id.secret",
        "description": "A key of this service, made by whoever runs it, over TLS only. Where the "
        "service has no keys, none is wanted and one that is sent is not looked at.",
    }
}
OPTIONAL_KEY: list[Described] = [{"key": []}, {}]


def question_path(row: Route, example: Described) -> Described:
    """Describe one question; the example holds a real question and its real answer."""
    operation: Described = {
        "operationId": operation_id(row.name),
        "tags": [row.tag],
        "summary": row.summary,
        "description": described(row),
        "parameters": read("Prefer"),
        "requestBody": {
            "required": True,
            "description": paragraphs(row.question.__doc__ or ""),
            "content": _content(row.question, example["question"]),
        },
        "responses": {
            "200": {
                "description": paragraphs(row.answer.__doc__ or ""),
                "headers": sent(
                    "Content-Location", "ETag", "Vary", "Cache-Control", "Cache-Status", *LIMITED
                ),
                "content": {**_content(row.answer, example["answer"]), **_streams(row)},
            },
            "400": refer("Unreadable"),
            "401": refer("KeyRefused"),
            "406": refer("NotAcceptable"),
            "413": refer("TooLong"),
            "415": refer("UnsupportedMedia"),
            "422": refer("Unprocessable"),
            "429": refer("OverQuota"),
            "500": refer("Bug"),
            "503": refer("Busy"),
            "504": refer("Late"),
            **CONNECTION_REFUSALS,
        },
    }
    return _for_key_holders({"post": operation})


def described(row: Route) -> str:
    """Say what a question answers, on what grounds, and how far to trust it."""
    return "\n\n".join(
        (
            paragraphs(row.question.__doc__ or ""),
            f"Assumes: {row.assumes}",
            f"Method: {row.method}",
            f"Validity: {row.validity}",
            ALWAYS_ANSWERED,
            RETRY,
        )
    )


def stored_answer_path(rows: tuple[Route, ...]) -> Described:
    """Describe fetching an answer again."""
    headers = ("Content-Location", "ETag", "Vary", "Cache-Control", "Cache-Status", *LIMITED)
    any_answer = {"anyOf": [reference(row.answer) for row in rows]}
    responses: Described = {
        "200": {
            "description": "The answer, as it was given to the question.",
            "headers": sent(*headers),
            "content": {media.value: {"schema": any_answer} for media in Media},
        },
        "304": {
            "description": "The caller holds these bytes already.",
            "headers": sent(*headers),
        },
        "400": refer("BadQuery"),
        "401": refer("KeyRefused"),
        "404": refer("NotStored"),
        "406": refer("NotAcceptable"),
        "429": refer("OverQuota"),
    }
    text = (
        "An answer under the digest of its question, for as long as it is stored. A digest "
        "covers the edition of the numbers, so what stands under it never changes. A digest that "
        "is no longer stored is 404: ask the question again."
    )
    path = _read_path(
        "storedAnswer",
        "stored-answers",
        "A stored answer",
        text,
        responses,
        "Digest",
        "IfNoneMatch",
    )
    return _for_key_holders(path)


def health_paths() -> dict[str, Described]:
    """Describe the two health checks."""
    live = {
        "200": _health(Alive, "The process runs."),
        "400": refer("BadRequest"),
        "503": refer("Crowded"),
    }
    ready = {
        "200": _health(Ready, "The replica wants traffic; `degraded` lists what it does without."),
        "400": refer("BadRequest"),
        "503": refer("Draining"),
    }
    return {
        "/livez": _read_path(
            "live", "health", "Is the process alive?", "Looks at nothing outside.", live
        ),
        "/readyz": _read_path(
            "ready",
            "health",
            "Does this replica want traffic?",
            "A shared store that is away is reported as degraded and never as unready.",
            ready,
        ),
    }


def reference_paths() -> dict[str, Described]:
    """Describe what there is to read."""
    document = {
        "200": _page("This document.", Media.JSON.value, {"type": "object"}),
        "304": _held(),
        "400": refer("BadRequest"),
    }
    docs = {
        "200": _page("The reference as HTML.", "text/html"),
        "304": _held(),
        "400": refer("BadRequest"),
    }
    problem = {
        "200": _page("What the problem means and what to do about it.", "text/html"),
        "304": _held(),
        "400": refer("BadRequest"),
        "404": refer("NotFound"),
    }
    return {
        "/openapi.json": _read_path(
            "openapi", "reference", "This document", "As reviewed.", document, "IfNoneMatch"
        ),
        "/docs": _read_path(
            "docs", "reference", "The reference", "For people.", docs, "IfNoneMatch"
        ),
        "/problems/{name}": _read_path(
            "problemType",
            "reference",
            "A problem type",
            "Where the `type` of a problem leads.",
            problem,
            "ProblemName",
            "IfNoneMatch",
        ),
    }


def operation_id(name: str) -> str:
    """Turn the name of a question into camelCase."""
    first, *rest = name.split("-")
    return first + "".join(word.capitalize() for word in rest)


def _read_path(
    identity: str, tag: str, summary: str, text: str, responses: Described, *parameters: str
) -> Described:
    common = {"tags": [tag], "summary": summary, "description": f"{text} Safe; retry freely."}
    responses = dict(sorted({**responses, "500": refer("Bug"), **CONNECTION_REFUSALS}.items()))
    bare = {
        status: {name: part for name, part in response.items() if name != "content"}
        for status, response in responses.items()
        if "$ref" not in response
    }
    refused = {
        status: silent_refusal(response["$ref"].rpartition("/")[2])
        for status, response in responses.items()
        if "$ref" in response
    }
    silent = {status: {**bare, **refused}[status] for status in responses}
    return {
        "get": {
            "operationId": identity,
            **common,
            "parameters": read(*parameters),
            "responses": responses,
        },
        "head": {
            "operationId": f"{identity}Head",
            **common,
            "parameters": read(*parameters),
            "responses": silent,
        },
    }


def _for_key_holders(path: Described) -> Described:
    """Say that the operations of a path may want a key, and do where the service has keys."""
    return {method: {**operation, "security": OPTIONAL_KEY} for method, operation in path.items()}


def _content(kind: type[Struct], example: Described) -> Described:
    schema = {"schema": reference(kind)}
    return {Media.JSON.value: {**schema, "example": example}, Media.MSGPACK.value: schema}


def _streams(row: Route) -> Described:
    """Describe what each record of a stream is, where an answer can be had as one."""
    if not row.records:
        return {}
    kinds = {StreamMedia.NDJSON: row.records, StreamMedia.MSGPACK: row.packed}
    return {
        media.value: {"schema": {"anyOf": [reference(kind) for kind in records]}}
        for media, records in kinds.items()
    }


def _health(kind: type[Struct], text: str) -> Described:
    content = {Media.JSON.value: {"schema": reference(kind)}}
    return {"description": text, "headers": sent("Cache-Control"), "content": content}


def _page(text: str, media: str, schema: Described | None = None) -> Described:
    longest = {"type": "string", "maxLength": 10_000_000}
    return {
        "description": text,
        "headers": sent("ETag", "Cache-Control"),
        "content": {media: {"schema": schema or longest}},
    }


def _held() -> Described:
    headers = sent("ETag", "Cache-Control")
    return {"description": "The caller holds these bytes already.", "headers": headers}
