"""A posted question into its answer, and a stored answer under its digest.

The order is fixed: what the request says of itself, its body, its digest, the store, and
only then the calculation, at the workbench. All of it ends when the caller leaves or the
time allowed is over.
"""

from time import perf_counter
from typing import NamedTuple, cast

import msgspec
from litestar import post, route
from litestar.handlers import HTTPRouteHandler
from litestar.types import HTTPScope
from msgspec import Struct

from loopmargin_service.http.conditional import entity_tag, representation
from loopmargin_service.http.deadline import Attended, Deadline, deadline
from loopmargin_service.http.decode import Reader
from loopmargin_service.http.digest import canonical, digest
from loopmargin_service.http.media import (
    Media,
    answer_media,
    asked,
    body_media,
    read_body,
    require_no_query,
)
from loopmargin_service.http.meters import Meters
from loopmargin_service.http.once import Given, Once
from loopmargin_service.http.phases import phase
from loopmargin_service.http.problems import NOT_STORED, ProblemError
from loopmargin_service.http.quotas import Allowance, allowance_of
from loopmargin_service.http.reply import READING, Asking, Header, Reply, head, length
from loopmargin_service.http.routes import Route
from loopmargin_service.http.settings import Settings
from loopmargin_service.http.store import AnswerStore, RequestKey
from loopmargin_service.http.streams import Streams
from loopmargin_service.http.workbench import Workbench
from loopmargin_service.questions.edition import EDITION
from loopmargin_wire.answer import Outcome, Question

STORE_NAME = "loopmargin-answers"
VARY: Header = (b"vary", b"accept")
SOURCES = {"stored": "hit", "collapsed": "fwd=miss; collapsed", "computed": "fwd=miss; stored"}


class _Ended(Struct):
    """The part of any answer that says how its calculation ended."""

    outcome: Outcome


_ENDED = msgspec.json.Decoder(_Ended)


class Answered(NamedTuple):
    """An answer as JSON, the digest it is stored under, and how the store was involved."""

    digest: str
    answer: bytes
    cache_status: str


class Calculation:
    """One question of the table: from its body to its answer, through the store."""

    def __init__(
        self,
        asked_for: Route,
        store: AnswerStore,
        once: Once,
        settings: Settings,
        bench: Workbench,
        meters: Meters,
    ) -> None:
        self._name = asked_for.name
        self._meters = meters
        self._row = asked_for
        self._deadline_s = settings.deadline_s
        self._bench = bench
        self._store = store
        self._once = once
        self._limit = settings.body_bytes
        self._reader = Reader(asked_for.question)

    async def reply(self, request: Asking) -> Reply:
        """Answer one POST."""
        scope = request.scope
        require_no_query(scope)
        header = asked(scope)
        sent, wanted = body_media(header), answer_media(header)
        body = await read_body(request.receive, self._limit, header.content_length)
        limit = deadline(header.prefer, self._deadline_s)
        async with Attended(request.receive, limit, self._overrun):
            answered = await self._answer(body, sent, limit, allowance_of(scope))
        with phase("encode"):
            reply, repeated = _replies(answered, wanted)
        key = RequestKey(scope["path"], header.content_type, header.accept, body)
        self._store.make_ready(key, repeated)
        return reply

    async def _answer(
        self, body: bytes, sent: Media, limit: Deadline, allowance: Allowance | None
    ) -> Answered:
        with phase("decode"):
            question, spelled = canonical(self._reader.read(body, sent))
        name = digest(self._name, EDITION, spelled)
        work_s: float = self._row.work(question)
        given = await self._once.answer(
            name, lambda: self._paid(question, limit, work_s, allowance), work_s
        )
        return Answered(name, given.answer, _status(given))

    async def _paid(
        self, question: Question, limit: Deadline, work_s: float, allowance: Allowance | None
    ) -> bytes:
        """Compute on the quota of who asked first; whoever waits for the same pays one unit."""
        if allowance is not None:
            await allowance.work(work_s)
        return await self._measured(question, limit)

    async def _measured(self, question: Question, limit: Deadline) -> bytes:
        """Compute, and take note of how long it took and how it ended."""
        start_s = perf_counter()
        with phase("compute"):
            answer = await self._bench.run(self._row, question, limit)
        self._note(answer, perf_counter() - start_s)
        return answer

    def _overrun(self) -> None:
        self._meters.deadline_overruns.add(self._name)

    def _note(self, answer: bytes, duration_s: float) -> None:
        self._meters.computed(self._name, duration_s)
        if _ENDED.decode(answer).outcome.status == "not_converged":
            self._meters.not_converged.add(self._name)


class StoredAnswers:
    """GET and HEAD of an answer while it is stored."""

    def __init__(self, store: AnswerStore) -> None:
        self._store = store

    async def reply(self, scope: HTTPScope, name: str) -> Reply:
        """Answer one GET or HEAD."""
        require_no_query(scope)
        wanted = answer_media(asked(scope))
        found = await self._store.find(name)
        if found.answer is None:
            raise ProblemError(NOT_STORED, f"No answer is stored under {name[:64]!a}; ask again.")
        body = in_media(found.answer, wanted)
        headers = (
            *_described(name, wanted),
            (b"cache-control", f"public, max-age={self._store.ttl_s}, immutable".encode()),
            (b"cache-status", _status(Given(found.answer, "stored", found.available)).encode()),
        )
        return representation(scope, body, entity_tag(body), headers)


def question_handler(
    asked_for: Route,
    store: AnswerStore,
    once: Once,
    settings: Settings,
    bench: Workbench,
    meters: Meters,
    streams: Streams,
) -> HTTPRouteHandler:
    """Make the handler of one row of the table."""
    calculation = Calculation(asked_for, store, once, settings, bench, meters)

    # The router sends what it is told to be a Reply by calling it, and a stream is called alike.
    async def ask(request: Asking) -> Reply:
        media = streams.wanted(request) if asked_for.records else None
        if media is not None:
            return cast("Reply", await streams.reply(request, media))
        return await calculation.reply(request)

    return post(asked_for.path, status_code=200)(ask)


def stored_answer_handler(store: AnswerStore) -> HTTPRouteHandler:
    """Make the handler that serves stored answers."""
    stored = StoredAnswers(store)

    async def fetch(request: Asking) -> Reply:
        return await stored.reply(request.scope, request.path_params["digest"])

    return route("/v1/answers/{digest:str}", http_method=READING)(fetch)


def in_media(answer: bytes, media: Media) -> bytes:
    """Write a stored answer, which is JSON, in the encoding that is wanted."""
    if media is Media.JSON:
        return answer
    return msgspec.msgpack.encode(msgspec.json.decode(answer))


def _replies(answered: Answered, media: Media) -> tuple[Reply, Reply]:
    """Make the reply to this request, and the one to the next that is equal to it."""
    body = in_media(answered.answer, media)
    headers = (
        *_described(answered.digest, media),
        (b"etag", entity_tag(body)),
        (b"cache-control", b"no-cache"),
        length(body),
    )
    now = (b"cache-status", answered.cache_status.encode())
    later = (b"cache-status", f"{STORE_NAME}; hit".encode())
    repeated = (*headers, later)
    return Reply(200, (*headers, now), body), Reply(200, repeated, body, head(200, repeated))


def _described(name: str, media: Media) -> tuple[Header, ...]:
    return (
        (b"content-type", media.value.encode()),
        (b"content-location", f"/v1/answers/{name}".encode()),
        VARY,
    )


def _status(given: Given) -> str:
    """Write the Cache-Status (RFC 9211) of an answer."""
    away = "" if given.available else "; detail=store-unavailable"
    return f"{STORE_NAME}; {SOURCES[given.source]}{away}"
