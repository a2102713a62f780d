"""Every refusal as an OpenAPI response, described once and referred to by operations."""

from typing import Any

from loopmargin_service.http import problems
from loopmargin_service.http.openapi_headers import LIMITED, sent
from loopmargin_service.http.openapi_schemas import reference
from loopmargin_service.http.problems import MEDIA_TYPE, Kind
from loopmargin_wire.problem import Problem

Described = dict[str, Any]

# Name of the shared response -> the types of problem that it carries and its extra headers.
REFUSALS: dict[str, tuple[tuple[Kind, ...], tuple[str, ...]]] = {
    "BadRequest": ((problems.BAD_REQUEST,), ()),
    "BadQuery": ((problems.QUERY_UNKNOWN, problems.BAD_REQUEST), LIMITED),
    "Unreadable": ((problems.MALFORMED, problems.QUERY_UNKNOWN, problems.BAD_REQUEST), LIMITED),
    "KeyRefused": ((problems.KEY_REFUSED,), ("WWW-Authenticate",)),
    "NotStored": ((problems.NOT_STORED,), LIMITED),
    "NotFound": ((problems.NOT_FOUND,), ()),
    "NotAcceptable": ((problems.NOTHING_ACCEPTABLE,), LIMITED),
    "TooSlow": ((problems.TOO_SLOW,), ()),
    "TooLong": ((problems.BODY_TOO_LONG,), LIMITED),
    "TargetTooLong": ((problems.TARGET_TOO_LONG,), ()),
    "UnsupportedMedia": ((problems.MEDIA_UNSUPPORTED,), ("Accept", *LIMITED)),
    "Unprocessable": ((problems.CONSTRAINT, problems.CONTRADICTION), LIMITED),
    "OverQuota": ((problems.QUOTA,), ("Retry-After", *LIMITED)),
    "HeadTooLong": ((problems.HEAD_TOO_LONG,), ()),
    "Bug": ((problems.BUG,), ()),
    "Draining": ((problems.DRAINING, problems.CROWDED), ("Retry-After",)),
    "Crowded": ((problems.CROWDED,), ("Retry-After",)),
    "Busy": (
        (problems.BUSY, problems.OVERLOADED, problems.CROWDED),
        ("Retry-After", *LIMITED),
    ),
    "Late": ((problems.DEADLINE,), LIMITED),
}


def refer(name: str) -> Described:
    """Refer to a shared response."""
    return {"$ref": f"#/components/responses/{name}"}


# Refused before anybody looks at the path.
CONNECTION_REFUSALS = {
    "408": refer("TooSlow"),
    "414": refer("TargetTooLong"),
    "431": refer("HeadTooLong"),
}


def shared_responses() -> dict[str, Described]:
    """Describe every refusal once."""
    return {name: _refusal(kinds, headers) for name, (kinds, headers) in REFUSALS.items()}


def silent_refusal(name: str) -> Described:
    """Describe a refusal of HEAD: the headers of a shared response without its body."""
    _, headers = REFUSALS[name]
    text = "As for GET, without the body."
    return {"description": text, "headers": sent("Cache-Control", *headers)}


def _refusal(kinds: tuple[Kind, ...], headers: tuple[str, ...]) -> Described:
    return {
        "description": "\n\n".join(f"`{kind.type}`: {kind.meaning}" for kind in kinds),
        "headers": sent("Cache-Control", *headers),
        "content": {
            MEDIA_TYPE: {
                "schema": reference(Problem),
                "examples": {kind.name: {"value": _example(kind)} for kind in kinds},
            }
        },
    }


def _example(kind: Kind) -> Described:
    return {
        "type": kind.type,
        "title": kind.title,
        "status": kind.status,
        "detail": kind.meaning,
        "instance": "d2a1eaaeff40-1",
        "errors": [],
    }
