"""The application: what is served, behind the layers that every request passes."""

from collections.abc import Callable
from typing import TYPE_CHECKING

from litestar import Litestar
from litestar.exceptions import HTTPException
from litestar.types import ASGIApp

from loopmargin_service.http.admission import Admission
from loopmargin_service.http.answers import question_handler, stored_answer_handler
from loopmargin_service.http.chunks import Chunks
from loopmargin_service.http.crew import BothCrews, Crew, HandedBack, LocalCrew
from loopmargin_service.http.guards import Guards, keyring_of
from loopmargin_service.http.health import Readiness, health_handlers
from loopmargin_service.http.identity import Identity
from loopmargin_service.http.media import ClientGoneError
from loopmargin_service.http.meters import Meters
from loopmargin_service.http.once import Once
from loopmargin_service.http.pages import page_handlers
from loopmargin_service.http.pipeline import Layers, Pipeline
from loopmargin_service.http.problems import ProblemError
from loopmargin_service.http.repeats import Repeats
from loopmargin_service.http.responding import leave, respond
from loopmargin_service.http.routes import ROUTES, Route
from loopmargin_service.http.settings import Settings
from loopmargin_service.http.store import AnswerStore, SharedStore
from loopmargin_service.http.streams import Streams
from loopmargin_service.http.watch import Tell, Watch
from loopmargin_service.http.workbench import Workbench
from loopmargin_service.http.workers import Workers
from loopmargin_service.questions.edition import EDITION
from loopmargin_service.questions.refusals import Refusal

if TYPE_CHECKING:
    from loopmargin_service.http.redis_link import RedisLink

Wrap = Callable[[ASGIApp, frozenset[str]], ASGIApp]

# Places behind the process that listens; the scheduler gives a patient worker a fifth of what it
# gives a quick one that wants the same core.
QUICK, PATIENT = 3, 10
# Part of the memory for answers that the chunks of sweeps may take beside it.
CHUNK_SHARE = 2


def create_app(
    settings: Settings,
    routes: tuple[Route, ...] = ROUTES,
    tell: Tell | None = None,
    traced: Wrap = lambda app, _routes: app,
) -> Litestar:
    """Wire the service together; nothing is read from the environment here."""
    meters = Meters(row.name for row in routes)
    link = shared_link(settings, meters)
    store = AnswerStore(settings.store_bytes, settings.store_ttl_s, shared_store(settings, link))
    quick, patient = (worker_processes(settings, niceness) for niceness in (QUICK, PATIENT))
    once = Once(store)
    bench = Workbench(quick, patient, settings.queue_s, meters.refused.add)
    handed_back = HandedBack(meters.handed_back.add)
    meters.cluster_degraded.set_function(lambda: handed_back.degraded)
    crew = sweep_crew(settings, patient, handed_back)
    chunks = Chunks(crew, chunk_store(settings, store))
    streams = Streams(chunks, settings, bench, meters)
    keyring = keyring_of(settings, meters)
    readiness = Readiness(store, keyring, handed_back)
    read_off(meters, store, bench)
    app = Litestar(
        route_handlers=[
            *(
                question_handler(row, store, once, settings, bench, meters, streams)
                for row in routes
            ),
            stored_answer_handler(store),
            *health_handlers(readiness),
            *page_handlers(),
        ],
        exception_handlers={
            ProblemError: respond,
            Refusal: respond,
            ClientGoneError: leave,
            HTTPException: respond,
            Exception: respond,
        },
        on_shutdown=[store.close, crew.close, quick.close, patient.close],
        openapi_config=None,
        logging_config=None,
    )
    app.state.readiness = readiness
    app.state.workers = patient
    app.state.bench = bench
    app.state.chunks = chunks
    app.state.meters = meters
    app.state.keyring = keyring
    questions = {row.path for row in routes}
    plain = frozenset(route.path for route in app.routes if "{" not in route.path)
    layers = Layers(
        Watch(meters, plain, tell),
        Identity(readiness),
        Guards(settings, keyring, link, meters),
        Repeats(store, questions, settings.body_bytes),
        Admission(app.asgi_handler, questions, bench),
    )
    front = Pipeline(app.asgi_handler, layers, lambda inner: traced(inner, plain))
    app.asgi_handler = app.state.front = front
    return app


def worker_processes(settings: Settings, niceness: int) -> Workers:
    """Make worker processes, which start when there is work for them."""
    return Workers(settings.worker_processes, memory_bytes=settings.worker_bytes, niceness=niceness)


def sweep_crew(settings: Settings, workers: Workers, handed_back: HandedBack) -> Crew:
    """Choose who solves sweeps; the cluster's client is only imported if there is a cluster."""
    here = LocalCrew(workers)
    if not settings.dask_scheduler:
        return here
    from loopmargin_service.http.dask_crew import DaskCrew  # noqa: PLC0415 - see above

    return BothCrews(DaskCrew(settings.dask_scheduler), here, handed_back)


def chunk_store(settings: Settings, answers: AnswerStore) -> AnswerStore:
    """Keep chunks of sweeps apart, so that they push no answer out of this process."""
    limit_bytes = settings.store_bytes // CHUNK_SHARE
    return AnswerStore(limit_bytes, settings.store_ttl_s, answers.shared)


def read_off(meters: Meters, store: AnswerStore, bench: Workbench) -> None:
    """Let the meters read what others keep."""
    meters.store_bytes.set_function(lambda: store.held_bytes)
    meters.store_entries.set_function(lambda: len(store))
    crews = bench.quick.workers, bench.patient.workers
    meters.queue_length.set_function(lambda: bench.waiting)
    meters.queue_work.set_function(lambda: bench.work_s)
    meters.workers_busy.set_function(lambda: sum(crew.busy for crew in crews))
    meters.worker_restarts.set_function(lambda: sum(crew.replaced for crew in crews))


def shared_link(settings: Settings, meters: Meters) -> "RedisLink | None":
    """Make the link to what replicas share; its client is only then worth importing."""
    if not settings.redis_url:
        return None
    from loopmargin_service.http.redis_link import RedisLink, client  # noqa: PLC0415 - see above

    timeout_s = settings.redis_timeout_s
    link = RedisLink(client(settings.redis_url, timeout_s), timeout_s, meters.store_errors.add)
    meters.store_degraded.set_function(lambda: link.degraded)
    meters.breaker_open.set_function(lambda: not link.breaker.closed)
    return link


def shared_store(settings: Settings, link: "RedisLink | None") -> SharedStore | None:
    """Make the shared store behind the link, if there is one."""
    if link is None:
        return None
    from loopmargin_service.http.redis_store import RedisStore  # noqa: PLC0415 - see above

    return RedisStore(link, EDITION, settings.store_ttl_s)
