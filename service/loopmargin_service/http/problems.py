"""Every refusal as RFC 9457 problem details: one row for each type, stable type and title.

ProblemError      raised anywhere behind the first layer, carries a row of the table
Refusal           raised by a question that contradicts itself -> CONTRADICTION
HTTPException     raised by the router (404, 405, bad Host) -> the row of its status
anything else     a bug -> BUG, with the identifier to look up in the log, no trace
"""

import logging
from collections.abc import Iterable
from typing import NamedTuple
from urllib.parse import quote

import msgspec
from litestar import Response
from litestar.exceptions import HTTPException
from litestar.types import Scope

from loopmargin_service.http.reply import Asking, Header
from loopmargin_service.questions.refusals import Fault, Refusal
from loopmargin_wire.problem import FieldError, Problem

LOG = logging.getLogger("loopmargin")
MEDIA_TYPE = "application/problem+json"
LONGEST_POINTER = 500
LONGEST_DETAIL = 2000


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
BODY_TOO_LONG = Kind(
    "too-long",
    413,
    "The body is too long",
    "`detail` names the limit in bytes. Leave out what the question does not need or ask in parts.",
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
    NOT_FOUND,
    NOT_STORED,
    METHOD,
    NOTHING_ACCEPTABLE,
    BODY_TOO_LONG,
    MEDIA_UNSUPPORTED,
    CONSTRAINT,
    CONTRADICTION,
    BUG,
    DRAINING,
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
    return msgspec.json.encode(
        Problem(
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
    )


def instance(scope: Scope) -> str:
    """Return the identifier of the request, which the first layer has put there."""
    return str(scope["state"].get("request_id", ""))


def problem_of(error: Exception, scope: Scope) -> ProblemError:
    """Find the row of the table that an exception belongs to; log what is a bug."""
    match error:
        case ProblemError():
            return error
        case Refusal():
            return ProblemError(CONTRADICTION, str(error), faults=error.faults)
        case HTTPException() if error.status_code < 500:  # noqa: PLR2004 - first status of faults of ours
            kind = OF_ROUTER.get(error.status_code, BAD_REQUEST)
            return ProblemError(kind, _routing_detail(kind, scope), headers=_headers(error))
    LOG.error(
        "bug in request %s, trace %s",
        instance(scope),
        scope["state"].get("trace_id", "none"),
        exc_info=error,
    )
    return ProblemError(BUG, "The mistake has been logged under the identifier in instance.")


def respond(request: Asking, error: Exception) -> Response[bytes]:
    """Answer an exception that reached the router."""
    problem = problem_of(error, request.scope)
    headers = {name.decode(): value.decode() for name, value in problem.headers}
    return Response(
        encoded(problem, instance(request.scope)),
        status_code=problem.kind.status,
        media_type=MEDIA_TYPE,
        headers={"cache-control": "no-store", **headers},
    )


def leave(_request: Asking, error: Exception) -> Response[bytes]:
    """Let the outermost layer know that the caller has left; there is nobody to answer."""
    raise error


def _routing_detail(kind: Kind, scope: Scope) -> str:
    path = ascii(scope["path"][:100])
    if kind is METHOD:
        return f"{path} does not take {scope.get('method', '')!a}; see the Allow header."
    return f"Nothing is served at {path}." if kind is NOT_FOUND else kind.meaning


def _headers(error: HTTPException) -> tuple[Header, ...]:
    given = error.headers or {}
    return tuple((name.lower().encode(), value.encode()) for name, value in given.items())
