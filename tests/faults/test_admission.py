"""Deadlines, callers who leave and too much work, with real workers and real connections."""

import contextlib
import socket
from collections.abc import Iterator
from functools import partial
from pathlib import Path
from typing import Any, NamedTuple

import httpx
from litestar import Litestar

from loopmargin_service.http.app import create_app
from loopmargin_service.http.settings import Settings
from tests.faults.served import served
from tests.faults.test_workers import alive, eventually, marked
from tests.unit.http.parcel import Counter, parcel_routes
from tests.unit.http.parcel_tasks import answer

PATIENCE_S = 60.0
# Estimated at a second, which is what a fragile parcel never comes to.
WORK_S = 1.0


class Site(NamedTuple):
    """A service whose parcels go to worker processes, and the mark that a worker leaves."""

    app: Litestar
    url: str
    mark: Path

    @property
    def replaced(self) -> int:
        """Count the worker processes that were ended and replaced."""
        workers: Any = self.app.state.bench.patient.workers
        return int(workers.replaced)


@contextlib.contextmanager
def opened(mark: Path, deadline_s: float, queue_s: float) -> Iterator[Site]:
    """Serve parcels with one worker."""
    settings = Settings(worker_processes=1, deadline_s=deadline_s, queue_s=queue_s)
    (row,) = parcel_routes(Counter())
    row = row._replace(compute=partial(answer, str(mark)), work=lambda _: WORK_S)
    app = create_app(settings, (row,))
    with served(app) as url:
        yield Site(app, url, mark)


def ask(url: str, edge: float, *, fragile: bool = False, **headers: str) -> httpx.Response:
    """Ask about a parcel."""
    asked = {"edges_mm": [edge], "fragile": fragile}
    return httpx.post(f"{url}/v1/parcel", json=asked, headers=headers, timeout=PATIENCE_S)


def overrun(site: Site, allowed: str, **headers: str) -> None:
    """Ask for what never ends until a worker has begun it, which takes a busy machine a while."""
    began = False
    while not began:
        late = ask(site.url, 1.0, fragile=True, **headers)

        assert (late.status_code, late.json()["type"]) == (504, "/problems/deadline")
        assert f"allowed is {allowed} s" in late.json()["detail"]
        assert "retry-after" not in late.headers
        began = site.mark.exists() and site.mark.read_text() != ""
    eventually(lambda: not alive(marked(site.mark)))
    eventually(lambda: site.replaced >= 1)


@contextlib.contextmanager
def occupied(site: Site) -> Iterator[None]:
    """Keep the worker busy within a block; then the caller leaves."""
    head = "POST /v1/parcel HTTP/1.1\r\nhost: x\r\ncontent-type: application/json\r\n"
    body = '{"edges_mm": [1], "fragile": true}'
    url = httpx.URL(site.url)
    with socket.create_connection((url.host, url.port or 0)) as caller:
        caller.sendall(f"{head}content-length: {len(body)}\r\n\r\n{body}".encode())
        marked(site.mark)
        yield


def test_a_calculation_that_overruns_is_stopped_and_its_worker_replaced(tmp_path: Path) -> None:
    """504 that names the limit; the process is gone; the next question is answered."""
    with opened(tmp_path / "mark", deadline_s=2.5, queue_s=0.5) as site:
        overrun(site, "2.5")

        eventually(lambda: ask(site.url, 2.0).status_code == 200)


def test_a_caller_may_ask_for_less_time(tmp_path: Path) -> None:
    """By `Prefer: wait` (RFC 7240); a time in which it cannot be done is refused at once."""
    with opened(tmp_path / "mark", deadline_s=3000.0, queue_s=0.5) as site:
        overrun(site, "2", prefer="wait=2")
        never = ask(site.url, 2.0, prefer="wait=0")

        assert never.status_code == 504
        assert "allowed is 0 s" in never.json()["detail"]


def test_a_caller_who_leaves_frees_the_worker(tmp_path: Path) -> None:
    """Long before the deadline."""
    with opened(tmp_path / "mark", deadline_s=3000.0, queue_s=0.5) as site:
        with occupied(site):
            assert alive(marked(site.mark))
        eventually(lambda: not alive(marked(site.mark)))

        assert ask(site.url, 2.0).status_code == 200


def test_what_finds_the_queue_full_is_refused_and_the_rest_served_on(tmp_path: Path) -> None:
    """503 and Retry-After for new work; stored answers, health and pages as ever."""
    with opened(tmp_path / "mark", deadline_s=3000.0, queue_s=0.5) as site:
        stored = ask(site.url, 7.0)
        with occupied(site):
            refused = ask(site.url, 2.0)
            again = ask(site.url, 7.0)
            paths = (stored.headers["content-location"], "/livez", "/readyz", "/docs")
            served_on = {httpx.get(site.url + path).status_code for path in paths}

        assert (refused.status_code, refused.json()["type"]) == (503, "/problems/busy")
        assert int(refused.headers["retry-after"]) >= 1
        assert again.headers["cache-status"].endswith("hit")
        assert served_on == {200}
