"""The port of /metrics on a real process, and the shared store seen through it."""

import re
import socket
import time
from collections.abc import Callable
from pathlib import Path

import httpx
from prometheus_client.parser import text_string_to_metric_families

from tests.faults.redis_process import redis_process
from tests.faults.service_process import ServiceProcess

QUESTION = Path("openapi/examples/supply-headroom.question.json").read_bytes()
JSON = {"content-type": "application/json"}
WAIT_S = 20.0


def metrics_url(service: ServiceProcess) -> str:
    """Read where the metrics are, which is said after where the service is."""
    assert service.process.stdout is not None
    found = re.fullmatch(r"metrics on (\S+)\n", service.process.stdout.readline())
    assert found
    return found[1]


def scraped(url: str) -> dict[str, float]:
    """Scrape once; samples by name and label values."""
    response = httpx.get(url)
    assert response.headers["content-type"].startswith("text/plain; version=")
    return {
        " ".join([sample.name, *sample.labels.values()]): sample.value
        for family in text_string_to_metric_families(response.text)
        for sample in family.samples
    }


def until(holds: Callable[[], bool]) -> bool:
    """Wait for something to hold."""
    end = time.monotonic() + WAIT_S
    while time.monotonic() < end:
        if holds():
            return True
        time.sleep(0.05)
    return False


def test_metrics_have_a_port_of_their_own() -> None:
    """And only there; the process is measured as well."""
    with ServiceProcess(metrics_port="0") as service:
        url = metrics_url(service)
        httpx.post(service.url + "/v1/supply-headroom", content=QUESTION, headers=JSON)

        # A request is counted after its last byte, which may be after the caller has it.
        name = "loopmargin_http_requests_total POST /v1/supply-headroom 200"
        assert until(lambda: scraped(url).get(name) == 1)
        assert scraped(url)["process_resident_memory_bytes"] > 1e7
        assert httpx.get(service.url + "/metrics").status_code == 404
        assert service.stop() in {0, -15}


def test_a_port_that_is_taken_is_told_and_nothing_starts() -> None:
    """In one sentence."""
    with socket.create_server(("127.0.0.1", 0)) as taken:
        service = ServiceProcess(metrics_port=str(taken.getsockname()[1]))
        with service:
            assert service.process.wait(WAIT_S) == 1
            assert service.process.stderr is not None
            said = service.process.stderr.read()

    assert "LOOPMARGIN_METRICS_PORT" in said
    assert "Traceback" not in said


def test_a_store_that_goes_away_and_comes_back_is_seen() -> None:
    """Degraded and its breaker open, then neither."""
    with (
        redis_process() as redis,
        ServiceProcess(metrics_port="0", redis_url=redis.url) as service,
    ):
        url = metrics_url(service)
        there = until(lambda: not degraded(service, url))
        redis.freeze()
        away = until(lambda: degraded(service, url))
        errors = scraped(url)["loopmargin_store_errors_total timeout"]
        redis.thaw()
        back = until(lambda: not degraded(service, url))

    assert (there, away, back) == (True, True, True)
    assert errors >= 1


def degraded(service: ServiceProcess, url: str) -> bool:
    """Let the service look at its store, and read what the meters say."""
    assert httpx.get(service.url + "/readyz").status_code == 200
    found = scraped(url)
    assert found["loopmargin_store_degraded"] == found["loopmargin_store_breaker_open"]
    return found["loopmargin_store_degraded"] == 1
