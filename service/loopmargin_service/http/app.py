"""The application: what is served, and the layers that every request passes.

A request passes, outermost first:

    Watch        times, counts, and tells of every response
    Traced       shows each request as a span, where traces are kept
    Identity     Request-Id, security headers, the last catch
    Repeats      a request equal to an earlier one is answered here
    Litestar     routes, everything else

Keys, quotas and admission are layers of the same kind and belong between
Identity and Repeats, in that order, so that each also covers repeated requests.
"""

from collections.abc import Callable

from litestar import Litestar
from litestar.exceptions import HTTPException
from litestar.types import ASGIApp

from loopmargin_service.http.admission import Admission
from loopmargin_service.http.answers import question_handler, stored_answer_handler
from loopmargin_service.http.health import Readiness, health_handlers
from loopmargin_service.http.identity import Identity
from loopmargin_service.http.media import ClientGoneError
from loopmargin_service.http.meters import Meters
from loopmargin_service.http.once import Once
from loopmargin_service.http.pages import page_handlers
from loopmargin_service.http.problems import ProblemError, leave, respond
from loopmargin_service.http.repeats import Repeats
from loopmargin_service.http.routes import ROUTES, Route
from loopmargin_service.http.settings import Settings
from loopmargin_service.http.store import AnswerStore, SharedStore
from loopmargin_service.http.watch import Tell, Watch
from loopmargin_service.http.workbench import Workbench
from loopmargin_service.http.workers import Workers
from loopmargin_service.questions.edition import EDITION
from loopmargin_service.questions.refusals import Refusal

Wrap = Callable[[ASGIApp, frozenset[str]], ASGIApp]

# Places behind the process that listens; the scheduler gives a patient worker a fifth of what it
# gives a quick one that wants the same core.
QUICK, PATIENT = 3, 10


def create_app(
    settings: Settings,
    routes: tuple[Route, ...] = ROUTES,
    tell: Tell | None = None,
    traced: Wrap = lambda app, _routes: app,
) -> Litestar:
    """Wire the service together; nothing is read from the environment here."""
    meters = Meters(row.name for row in routes)
    shared = shared_store(settings, meters)
    store = AnswerStore(settings.store_bytes, settings.store_ttl_s, shared)
    quick, patient = (worker_processes(settings, niceness) for niceness in (QUICK, PATIENT))
    once = Once(store)
    bench = Workbench(quick, patient, settings.queue_s, meters.refused.add)
    readiness = Readiness(store)
    read_off(meters, store, bench)
    app = Litestar(
        route_handlers=[
            *(question_handler(row, store, once, settings, bench, meters) for row in routes),
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
        on_shutdown=[store.close, quick.close, patient.close],
        openapi_config=None,
        logging_config=None,
    )
    app.state.readiness = readiness
    app.state.workers = patient
    app.state.bench = bench
    app.state.meters = meters
    questions = {row.path for row in routes}
    admission = Admission(app.asgi_handler, questions, bench.turns)
    inner = Repeats(admission, store, questions, settings.body_bytes)
    plain = frozenset(route.path for route in app.routes if "{" not in route.path)
    app.asgi_handler = Watch(traced(Identity(inner, readiness), plain), meters, plain, tell)
    return app


def worker_processes(settings: Settings, niceness: int) -> Workers:
    """Make worker processes, which start when there is work for them."""
    return Workers(settings.worker_processes, memory_bytes=settings.worker_bytes, niceness=niceness)


def read_off(meters: Meters, store: AnswerStore, bench: Workbench) -> None:
    """Let the meters read what others keep."""
    meters.store_bytes.set_function(lambda: store.held_bytes)
    meters.store_entries.set_function(lambda: len(store))
    crews = bench.quick.workers, bench.patient.workers
    meters.queue_length.set_function(lambda: bench.waiting)
    meters.queue_work.set_function(lambda: bench.work_s)
    meters.workers_busy.set_function(lambda: sum(crew.busy for crew in crews))
    meters.worker_restarts.set_function(lambda: sum(crew.replaced for crew in crews))


def shared_store(settings: Settings, meters: Meters) -> SharedStore | None:
    """Make the shared store, if there is one; its client is only then worth importing."""
    if not settings.redis_url:
        return None
    from loopmargin_service.http.redis_link import RedisLink, client  # noqa: PLC0415 - see above
    from loopmargin_service.http.redis_store import RedisStore  # noqa: PLC0415 - see above

    timeout_s = settings.redis_timeout_s
    link = RedisLink(client(settings.redis_url, timeout_s), timeout_s, meters.store_errors.add)
    meters.store_degraded.set_function(lambda: link.degraded)
    meters.breaker_open.set_function(lambda: not link.breaker.closed)
    return RedisStore(link, EDITION, settings.store_ttl_s)
