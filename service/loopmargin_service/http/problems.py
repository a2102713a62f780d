"""Every refusal as RFC 9457 problem details: one row for each type, stable type and title.

A ProblemError is raised anywhere behind the first layer and carries a row of the table;
`responding` answers it, and every other exception.
"""

import logging
from collections.abc import Iterable
from functools import lru_cache
from typing import NamedTuple
from urllib.parse import quote

import msgspec
from litestar.types import Scope

from loopmargin_service.http.reply import Header
from loopmargin_service.questions.refusals import Fault
from loopmargin_wire.problem import FieldError, Problem

LOG = logging.getLogger("loopmargin")
MEDIA_TYPE = "application/problem+json"
LONGEST_POINTER = 500
LONGEST_DETAIL = 2000
# Stands for the instance of a problem that is written beforehand.
_HERE = "\0"


class Kind(NamedTuple):
    """One type of problem: its page, its status, its title, and what to do about it."""

    name: str
    status: int
    title: str
    meaning: str

    @property
    def type(self) -> str:
        """Where the page of this type stands, relative to the service."""
        return f"/problems/{self.name}"


MALFORMED = Kind(
    "malformed",
    400,
    "The body cannot be read",
    "The body is not what its Content-Type says: cut off, badly encoded, nested too deeply, a "
    "field given twice, or a number written as NaN or Infinity. Repair the encoding; `detail` "
    "says where reading stopped.",
)
QUERY_UNKNOWN = Kind(
    "query",
    400,
    "The path takes no query parameters",
    "A question takes everything in its body. A query parameter is refused and not ignored, so "
    "that a misspelt option cannot pass unseen.",
)
BAD_REQUEST = Kind(
    "request",
    400,
    "The request cannot be understood",
    "The request line or a header is not valid HTTP, for example the Host header.",
)
KEY_REFUSED = Kind(
    "key",
    401,
    "A valid key is needed",
    "This service answers holders of a key: `Authorization: Bearer <id>.<secret>`. A key that is "
    "unknown and one with a wrong secret are refused in the same words. Whoever runs the service "
    "makes keys, and replaces one that has run out.",
)
NOT_FOUND = Kind(
    "not-found",
    404,
    "Nothing is served at this path",
    "The path is not one of the service's. The list of paths is at `/docs` and in `/openapi.json`.",
)
NOT_STORED = Kind(
    "not-stored",
    404,
    "No answer is stored under this digest",
    "Answers are stored for a limited time and may be dropped earlier. Ask the question again "
    "with POST; equal questions give equal answers.",
)
METHOD = Kind(
    "method",
    405,
    "The path does not take this method",
    "The `Allow` header lists the methods that the path takes. Questions are asked with POST.",
)
NOTHING_ACCEPTABLE = Kind(
    "not-acceptable",
    406,
    "No encoding that the caller accepts",
    "Answers are given as `application/json` or `application/vnd.msgpack`; the Accept header "
    "excludes both.",
)
TOO_SLOW = Kind(
    "too-slow",
    408,
    "The request comes too slowly",
    "The head of a request has to be complete within seconds and its body has to keep coming; "
    "`detail` names both limits. Ask again on a better connection.",
)
BODY_TOO_LONG = Kind(
    "too-long",
    413,
    "The body is too long",
    "`detail` names the limit in bytes. Leave out what the question does not need or ask in parts.",
)
TARGET_TOO_LONG = Kind(
    "target-too-long",
    414,
    "The path is too long",
    "No path of this service needs so many bytes; `detail` names the limit. Questions go into the "
    "body.",
)
MEDIA_UNSUPPORTED = Kind(
    "media-type",
    415,
    "The body has an unsupported media type",
    "The `Accept` header of the response lists the media types that can be sent. Bodies are UTF-8 "
    "and not compressed.",
)
CONSTRAINT = Kind(
    "constraint",
    422,
    "A field is missing, unknown or outside its limits",
    "The body can be read but fields break the limits published in `/openapi.json`. Each entry of "
    "`errors` points at one field and says its value, the limit and what to try.",
)
CONTRADICTION = Kind(
    "contradiction",
    422,
    "Fields contradict each other",
    "Every field is inside its limits but together they describe nothing that can exist, such as "
    "a pump curve that rises. Each entry of `errors` points at one of the fields involved.",
)
QUOTA = Kind(
    "quota",
    429,
    "More work is asked for than the quota allows",
    "Work counts in units of 10 ms on one core: a stored answer is one unit, a calculation what it "
    "is estimated to take. `RateLimit` says what is left and `Retry-After` when to ask again; "
    "fewer or smaller questions at a time help.",
)
HEAD_TOO_LONG = Kind(
    "head-too-long",
    431,
    "The header fields are too many or too long",
    "`detail` names the limit. Send the fields that the question needs and no others.",
)
BUG = Kind(
    "bug",
    500,
    "The service made a mistake",
    "This is a fault of the service and not of the question. Report it with the identifier in "
    "`instance`; asking again gives the same result.",
)
DRAINING = Kind(
    "draining",
    503,
    "This replica is about to stop",
    "The replica answers what still arrives but wants no new traffic. Only `/readyz` says this.",
)
CROWDED = Kind(
    "crowded",
    503,
    "Too many connections are open",
    "The replica holds as many connections as it may. Close those that are idle, ask over fewer, "
    "and come back after the time in `Retry-After`.",
)
BUSY = Kind(
    "busy",
    503,
    "Too much work waits for a worker",
    "Longer calculations wait for a worker process, and only as much may wait as can be done in "
    "time. Wait for the time in `Retry-After` and ask again. Stored answers and short questions "
    "are not held up.",
)
OVERLOADED = Kind(
    "overloaded",
    503,
    "More questions arrive than can be answered",
    "Short questions arrive faster than this replica computes them, and were it to queue them all "
    "it would answer none in time. Wait for the time in `Retry-After` and ask again. Stored "
    "answers are served on.",
)
DEADLINE = Kind(
    "deadline",
    504,
    "The answer takes longer than the time allowed",
    "The service allows so many seconds for an answer, and `Prefer: wait` may allow fewer. A "
    "calculation that is still running then is stopped, and one that is estimated to take longer "
    "is not begun. The same question in the same time would end the same way: ask for less (fewer "
    "cases, values or draws) or allow more time. `detail` names the limit.",
)

KINDS = (
    MALFORMED,
    QUERY_UNKNOWN,
    BAD_REQUEST,
    KEY_REFUSED,
    NOT_FOUND,
    NOT_STORED,
    METHOD,
    NOTHING_ACCEPTABLE,
    TOO_SLOW,
    BODY_TOO_LONG,
    TARGET_TOO_LONG,
    MEDIA_UNSUPPORTED,
    CONSTRAINT,
    CONTRADICTION,
    QUOTA,
    HEAD_TOO_LONG,
    BUG,
    DRAINING,
    CROWDED,
    BUSY,
    OVERLOADED,
    DEADLINE,
)
BY_NAME = {kind.name: kind for kind in KINDS}
OF_ROUTER = {404: NOT_FOUND, 405: METHOD}


class ProblemError(Exception):
    """The request is refused: a row of the table, a detail, and the fields at fault."""

    def __init__(
        self,
        kind: Kind,
        detail: str,
        *,
        faults: tuple[Fault, ...] = (),
        headers: tuple[Header, ...] = (),
    ) -> None:
        super().__init__(detail)
        self.kind = kind
        self.detail = detail
        self.faults = faults
        self.headers = headers


def pointer(path: Iterable[str | int]) -> str:
    """Write path steps as a JSON Pointer in its URI fragment form (RFC 6901, section 6).

    A pointer that would grow past what the wire allows stops at the last step that fits.
    """
    text = "#"
    for step in path:
        escaped = str(step).replace("~", "~0").replace("/", "~1")
        longer = f"{text}/{quote(escaped, safe='~!$&()*+,;=:@', errors='replace')}"
        if len(longer) > LONGEST_POINTER:
            break
        text = longer
    return text


def encoded(problem: ProblemError, instance: str) -> bytes:
    """Write the problem document of one occurrence."""
    if problem.faults:
        return msgspec.json.encode(told(problem, instance))
    before, after = _around_instance(problem.kind, problem.detail)
    return before + msgspec.json.encode(instance) + after


@lru_cache(64)
def _around_instance(kind: Kind, detail: str) -> tuple[bytes, bytes]:
    """Write what many refusals have in common that are told in the same words."""
    whole = msgspec.json.encode(told(ProblemError(kind, detail), _HERE))
    before, _, after = whole.rpartition(msgspec.json.encode(_HERE))
    return before, after


def told(problem: ProblemError, instance: str) -> Problem:
    """Describe one occurrence of a problem."""
    return Problem(
        type=problem.kind.type,
        title=problem.kind.title,
        status=problem.kind.status,
        detail=problem.detail[:LONGEST_DETAIL],
        instance=instance,
        errors=tuple(
            FieldError(pointer=pointer(fault.path), detail=fault.detail[:LONGEST_DETAIL])
            for fault in problem.faults
        ),
    )


def instance(scope: Scope) -> str:
    """Return the identifier of the request, which the first layer has put there."""
    return str(scope["state"].get("request_id", ""))
