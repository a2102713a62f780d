"""Every header that the service sends or reads, described once."""

from typing import Any

from loopmargin_service.http.digest import PATTERN

Described = dict[str, Any]


def _text(description: str, example: str, *, pattern: str = "", longest: int = 200) -> Described:
    schema: Described = {"type": "string", "maxLength": longest}
    if pattern:
        schema["pattern"] = pattern
    return {"description": description, "required": True, "schema": schema, "example": example}


def _where_limited(description: str, example: str, *, pattern: str) -> Described:
    """Describe a field that is only there where callers have quotas."""
    text = f"{description} Only there where callers have quotas."
    return {**_text(text, example, pattern=pattern), "required": False}


DIGEST_EXAMPLE = "5f0c3c1f9a7d1c8e2b6a4d3f0e9b8a7c6d5e4f30"
TAG_EXAMPLE = '"8e2911f73bb94a5b0f383f3ce289a5ac"'

SENT: dict[str, Described] = {
    "Request-Id": _text(
        "Name of this request, on every response: the caller's if it was short and plain, "
        "otherwise made here. Quote it when reporting a fault.",
        "d2a1eaaeff40-1",
        pattern=r"^[A-Za-z0-9._-]{1,64}$",
        longest=64,
    ),
    "Content-Location": _text(
        "Where this answer can be fetched again by GET while it is stored.",
        f"/v1/answers/{DIGEST_EXAMPLE}",
        pattern="^/v1/answers/" + PATTERN.removeprefix("^"),
        longest=60,
    ),
    "ETag": _text(
        "Strong tag of these bytes; JSON and msgpack forms of one answer have different ones.",
        TAG_EXAMPLE,
        pattern='^"[0-9a-f]{32}"$',
        longest=34,
    ),
    "Vary": _text(
        "The answer depends on the Accept header.", "accept", pattern="^accept$", longest=20
    ),
    "Cache-Control": _text(
        "Stored answers may be kept; replies to POST and refusals may not.",
        "no-cache",
        pattern=r"^(no-cache|no-store|public, max-age=[0-9]+(, immutable)?)$",
        longest=80,
    ),
    "Cache-Status": _text(
        "Whether the service's own answer store had the answer (RFC 9211); `collapsed` says that "
        "an equal question was being computed and gave its answer to this one too. "
        "`detail=store-unavailable` says that the store shared by replicas was away; the answer "
        "is the same without it.",
        "loopmargin-answers; fwd=miss; stored",
        pattern="^loopmargin-answers; (hit|fwd=miss; (stored|collapsed))"
        "(; detail=store-unavailable)?$",
        longest=80,
    ),
    "Accept": _text(
        "Media types that a question can be sent in.",
        "application/json, application/vnd.msgpack",
        pattern=r"^[a-z]+/[a-z.]+(, [a-z]+/[a-z.]+)*$",
        longest=80,
    ),
    "Retry-After": _text(
        "Seconds to wait before asking again, drawn at random so that callers spread.",
        "1",
        pattern="^[0-9]+$",
        longest=6,
    ),
    "RateLimit": _where_limited(
        "What the caller's quota has left (draft-ietf-httpapi-ratelimit-headers-11): `r` units of "
        "10 ms of work, and no more within `t` seconds. `loopmargin-local` says that the quota is "
        "this replica's part, because what replicas share is away.",
        '"work";r=587;t=1',
        pattern=r'^"work";r=[0-9]+;t=[0-9]+(;loopmargin-local)?$',
    ),
    "RateLimit-Policy": _where_limited(
        "The caller's quotas: `q` units in `w` seconds with a burst of `loopmargin-burst`, and "
        "`q` requests open at once in each replica.",
        '"work";q=6000;w=60;loopmargin-burst=1000, "at-once";q=32;qu="concurrent-requests"',
        pattern=r'^"work";q=[0-9]+;w=60;loopmargin-burst=[0-9]+, '
        r'"at-once";q=[0-9]+;qu="concurrent-requests"$',
    ),
    "Access-Control-Allow-Origin": {
        **_text(
            "The origin of the page that asks, where whoever runs the service has listed it.",
            "https://quotes.example",
            pattern=r"^https?://[a-z0-9.:\[\]-]+$",
        ),
        "required": False,
    },
    "WWW-Authenticate": _text(
        "How to say who is asking (RFC 6750).",
        'Bearer realm="loopmargin"',
        pattern=r'^Bearer realm="loopmargin"(, error="invalid_token")?$',
        longest=60,
    ),
}


def _read(name: str, description: str, example: str) -> Described:
    return {
        "name": name,
        "in": "header",
        "required": False,
        "description": description,
        "schema": {"type": "string"},
        "example": example,
    }


READ: dict[str, Described] = {
    "RequestId": _read(
        "Request-Id",
        "Your name for this request: 1 to 64 of `A-Z a-z 0-9 . _ -`. Anything else is replaced.",
        "quote-1207.3",
    ),
    "Traceparent": _read(
        "traceparent",
        "W3C Trace Context; its trace id is logged with a fault. Ignored if it is not valid.",
        "00-4bf92f3577b34da6a3ce929d0e0e4736-00f067aa0ba902b7-01",
    ),
    "Prefer": _read(
        "Prefer",
        "`wait=` and the whole seconds that you will wait for an answer (RFC 7240, section 4.3), "
        "if they are fewer than the service allows; then 504. Other preferences are ignored.",
        "wait=10",
    ),
    "IfNoneMatch": _read(
        "If-None-Match",
        "Tags that the caller holds, or `*`; 304 is answered when one of them is current.",
        TAG_EXAMPLE,
    ),
    "ProblemName": {
        "name": "name",
        "in": "path",
        "required": True,
        "description": "Last part of the `type` of a problem.",
        "schema": {"type": "string", "pattern": "^[a-z-]+$", "minLength": 1, "maxLength": 40},
        "example": "constraint",
    },
    "Digest": {
        "name": "digest",
        "in": "path",
        "required": True,
        "description": "Digest of the question, as Content-Location gives it.",
        "schema": {"type": "string", "pattern": PATTERN, "minLength": 40, "maxLength": 40},
        "example": DIGEST_EXAMPLE,
    },
}


def sent(*names: str) -> dict[str, Described]:
    """Refer to the headers of a response; every response has a Request-Id."""
    every = ("Request-Id", "Access-Control-Allow-Origin", *names)
    return {name: {"$ref": f"#/components/headers/{name}"} for name in every}


LIMITED = ("RateLimit", "RateLimit-Policy")


def read(*names: str) -> list[Described]:
    """Refer to the parameters of an operation; every operation reads the first two."""
    return [
        {"$ref": f"#/components/parameters/{name}"} for name in (*names, "RequestId", "Traceparent")
    ]
