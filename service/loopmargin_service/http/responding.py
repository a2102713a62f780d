"""An exception that reached the router, or the first layer, into the problem it stands for.

ProblemError      raised anywhere behind the first layer, carries a row of the table
Refusal           raised by a question that contradicts itself -> CONTRADICTION
HTTPException     raised by the router (404, 405, bad Host) -> the row of its status
anything else     a bug -> BUG, with the identifier to look up in the log, no trace
"""

import logging

from litestar import Response
from litestar.exceptions import HTTPException
from litestar.types import Scope

from loopmargin_service.http.problems import (
    BAD_REQUEST,
    BUG,
    CONTRADICTION,
    MEDIA_TYPE,
    METHOD,
    NOT_FOUND,
    OF_ROUTER,
    Kind,
    ProblemError,
    encoded,
    instance,
)
from loopmargin_service.http.reply import Asking, Header, Reply, length
from loopmargin_service.questions.refusals import Refusal

LOG = logging.getLogger("loopmargin")


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


def reply_to(error: Exception, scope: Scope) -> Reply:
    """Answer an exception that no router has seen."""
    problem = problem_of(error, scope)
    body = encoded(problem, instance(scope))
    headers = (
        (b"content-type", MEDIA_TYPE.encode()),
        (b"cache-control", b"no-store"),
        *problem.headers,
        length(body),
    )
    return Reply(problem.kind.status, headers, body)


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
