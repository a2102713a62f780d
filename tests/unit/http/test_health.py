"""Alive and ready, and not confused with each other."""

import pytest
from litestar import Litestar
from litestar.testing import TestClient

from loopmargin.release import __version__
from loopmargin_service.questions.edition import EDITION


def test_a_running_process_is_alive_and_ready(client: TestClient[Litestar]) -> None:
    """Both say so, with the release and the edition that are served."""
    assert client.get("/livez").json() == {
        "status": "alive",
        "version": __version__,
        "edition": EDITION,
    }
    assert client.get("/readyz").json() == {"status": "ready", "degraded": []}


@pytest.mark.parametrize("path", ["/livez", "/readyz"])
def test_health_is_never_cached_and_answers_head(client: TestClient[Litestar], path: str) -> None:
    """A balancer may ask with either method."""
    headed = client.head(path)

    assert (
        headed.status_code,
        headed.content,
        headed.headers["cache-control"],
    ) == (200, b"", "no-store")


def test_a_draining_replica_is_alive_but_not_ready(client: TestClient[Litestar]) -> None:
    """It still answers questions, too."""
    client.app.state.readiness.draining = True

    ready, alive = client.get("/readyz"), client.get("/livez")

    assert (
        ready.status_code,
        ready.json()["type"],
        ready.headers["retry-after"],
    ) == (503, "/problems/draining", "1")
    assert alive.status_code == 200
