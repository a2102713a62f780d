"""One replica of the service in this process, asking about parcels, with Redis behind it."""

import time
from collections.abc import Callable
from itertools import count

from litestar.testing import TestClient

from loopmargin_service.http.app import create_app
from loopmargin_service.http.settings import Settings
from tests.unit.http.parcel import Counter, parcel_routes

JSON = {"content-type": "application/json"}
MISS = "loopmargin-answers; fwd=miss; stored"
AWAY = f"{MISS}; detail=store-unavailable"
HIT = "loopmargin-answers; hit"
# Longer than any pause of a busy machine: for servers that are well, or fail without delay.
PATIENT_S = 10.0
# Within this time whatever is expected has to have come about, on the busiest machine.
BOUND_S = 20.0
# Numbers of questions that nobody has asked, of no replica: servers outlive them.
FRESH = count(1)


def eventually(holds: Callable[[], bool]) -> None:
    """Wait until something holds."""
    limit_s = time.monotonic() + BOUND_S
    while not holds():
        assert time.monotonic() < limit_s
        time.sleep(0.02)


class Replica:
    """One replica with nothing in its own memory."""

    def __init__(self, url: str, timeout_s: float = PATIENT_S) -> None:
        self.counter = Counter()
        settings = Settings(redis_url=url, redis_timeout_s=timeout_s)
        self.client = TestClient(create_app(settings, parcel_routes(self.counter)))

    def ask(self, edge: int = 1) -> tuple[float, str]:
        """Ask about a parcel of one edge; give its total and the state of the store."""
        body = b'{"edges_mm":[%d]}' % edge
        response = self.client.post("/v1/parcel", content=body, headers=JSON)
        assert response.status_code == 200
        return response.json()["state"]["total_mm"], response.headers["cache-status"]

    def ask_anew(self) -> str:
        """Ask something that was not asked before; the answer has to be right."""
        edge = next(FRESH)
        edges = f"[{edge % 900},{edge // 900}]"
        body = f'{{"edges_mm":{edges},"fragile":true}}'.encode()
        response = self.client.post("/v1/parcel", content=body, headers=JSON)
        assert response.status_code == 200
        assert response.json()["state"]["total_mm"] == edge % 900 + edge // 900
        return response.headers["cache-status"]

    def degraded(self) -> bool:
        """Ask what it does without; it wants traffic whatever that is."""
        ready = self.client.get("/readyz")
        assert ready.status_code == 200
        assert self.client.get("/livez").status_code == 200
        assert ready.json()["degraded"] in ([], ["answer_store"])
        return bool(ready.json()["degraded"])
