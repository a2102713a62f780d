"""Is the process alive, and does it want traffic?

A shared store or a cluster that is away never makes the service unready: every answer is still
given, only more often computed anew, and here. It is reported as degraded instead.
"""

from importlib.metadata import version
from typing import Annotated, Literal

import msgspec
from litestar import route
from litestar.handlers import HTTPRouteHandler
from msgspec import Meta, Struct

from loopmargin_service.http.crew import HandedBack
from loopmargin_service.http.keys import Keyring
from loopmargin_service.http.problems import DRAINING, ProblemError
from loopmargin_service.http.reply import READING, Asking, Header, Reply, length
from loopmargin_service.http.store import AnswerStore
from loopmargin_service.questions.edition import EDITION

RELEASE = version("loopmargin")
HEADERS: tuple[Header, ...] = (
    (b"content-type", b"application/json"),
    (b"cache-control", b"no-store"),
)


RETRY: tuple[Header, ...] = ((b"retry-after", b"1"),)


# The store that replicas share is away; the file of keys cannot be read anew; the cluster that
# solves sweeps hands them back.
Without = Literal["answer_store", "keys", "sweep_cluster"]


class Alive(Struct, frozen=True, kw_only=True):
    """The process runs."""

    status: Literal["alive"] = "alive"
    version: Annotated[str, Meta(max_length=32, description="Release of the service.")] = RELEASE
    edition: Annotated[str, Meta(max_length=32, description="Edition of the numbers.")] = EDITION


class Ready(Struct, frozen=True, kw_only=True):
    """The process wants traffic; what it does without is listed."""

    status: Literal["ready"] = "ready"
    degraded: Annotated[tuple[Without, ...], Meta(max_length=8)] = ()


class Readiness:
    """Whether this replica wants traffic; it stops wanting it when it is told to stop."""

    def __init__(
        self,
        store: AnswerStore,
        keyring: Keyring | None = None,
        handed_back: HandedBack | None = None,
    ) -> None:
        self._store = store
        self._keyring = keyring
        self._handed_back = handed_back
        self.draining = False

    async def reply(self) -> Reply:
        """Answer /readyz, or refuse while draining."""
        if self.draining:
            raise ProblemError(
                DRAINING, "This replica is stopping; use another one.", headers=RETRY
            )
        degraded: list[Without] = []
        if not await self._store.shared_usable():
            degraded.append("answer_store")
        if self._keyring is not None and self._keyring.looked_failing():
            degraded.append("keys")
        if self._handed_back is not None and self._handed_back.degraded:
            degraded.append("sweep_cluster")
        return _reply(Ready(degraded=tuple(degraded)))


def health_handlers(readiness: Readiness) -> list[HTTPRouteHandler]:
    """Make the handlers of /livez and /readyz."""
    alive = _reply(Alive())

    async def livez(request: Asking) -> Reply:  # noqa: ARG001 - asked by nobody
        return alive

    async def readyz(request: Asking) -> Reply:  # noqa: ARG001 - asked by nobody
        return await readiness.reply()

    return [
        route("/livez", http_method=READING)(livez),
        route("/readyz", http_method=READING)(readyz),
    ]


def _reply(body: Struct) -> Reply:
    encoded = msgspec.json.encode(body)
    return Reply(200, (*HEADERS, length(encoded)), encoded)
