"""What is counted, under which names, and that nobody can make the series grow."""

import re

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from litestar import Litestar
from litestar.testing import TestClient
from prometheus_client import generate_latest
from prometheus_client.metrics_core import Metric
from prometheus_client.parser import text_string_to_metric_families

from loopmargin_service.http.meters import Meters, Tally
from loopmargin_service.http.watch import store_result
from tests.unit.http.conftest import JSON
from tests.unit.http.parcel import Counter

PARCEL = "/v1/parcel"
# Base units and suffixes of the Prometheus naming conventions, and counts of things.
UNITS = ("_seconds", "_bytes")
STANDARD = ("process_", "python_")


def families(meters: Meters) -> list[Metric]:
    """Read the meters as whoever scrapes them does."""
    return list(text_string_to_metric_families(generate_latest(meters.registry).decode()))


def values(client: TestClient[Litestar]) -> dict[tuple[str, tuple[str, ...]], float]:
    """Give every sample by its name and the values of its labels, in the order of the labels."""
    return {
        (sample.name, tuple(sample.labels[name] for name in sorted(sample.labels))): sample.value
        for family in families(client.app.state.meters)
        for sample in family.samples
    }


def requests(client: TestClient[Litestar]) -> dict[tuple[str, ...], float]:
    """Give the count of requests by method, route and status."""
    name = "loopmargin_http_requests_total"
    return {
        labels: value
        for (found, labels), value in values(client).items()
        if found == name and value
    }


def test_requests_are_counted_by_route_method_and_status(client: TestClient[Litestar]) -> None:
    """Good, bad, stored and unknown ones."""
    body = b'{"edges_mm":[1]}'
    digest = client.post(PARCEL, content=body, headers=JSON).headers["content-location"]
    client.post(PARCEL, content=body, headers=JSON)
    client.post(PARCEL, content=b"{}", headers=JSON)
    client.get(digest)
    client.head("/livez")
    client.get("/no/such/place")
    client.request("BREW", PARCEL)

    assert requests(client) == {
        ("POST", PARCEL, "200"): 2,
        ("POST", PARCEL, "422"): 1,
        ("GET", "/v1/answers/{digest}", "200"): 1,
        ("HEAD", "/livez", "200"): 1,
        ("GET", "other", "404"): 1,
        ("other", PARCEL, "405"): 1,
    }


def test_durations_are_kept_as_a_histogram(client: TestClient[Litestar]) -> None:
    """As many as requests, and together less than the test took."""
    client.get("/livez")
    client.get("/livez")
    name = "loopmargin_http_request_duration_seconds"

    found = values(client)

    assert found[f"{name}_count", ("GET", "/livez")] == 2
    assert found[f"{name}_bucket", ("+Inf", "GET", "/livez")] == 2
    assert 0 < found[f"{name}_sum", ("GET", "/livez")] < 60


def test_the_answer_store_is_counted_by_what_it_did(client: TestClient[Litestar]) -> None:
    """Once computed and stored, twice given again."""
    for _ in range(3):
        client.post(PARCEL, content=b'{"edges_mm":[1]}', headers=JSON)

    found = values(client)

    assert found["loopmargin_store_results_total", ("stored",)] == 1
    assert found["loopmargin_store_results_total", ("hit",)] == 2
    assert found["loopmargin_store_held_entries", ()] == 2
    assert found["loopmargin_store_held_bytes", ()] > 500
    assert found["loopmargin_computation_duration_seconds_count", ("parcel",)] == 1


def test_a_solve_that_did_not_converge_is_counted(client: TestClient[Litestar]) -> None:
    """By its question."""
    client.post(PARCEL, content=b'{"edges_mm":[1],"mood":"restless"}', headers=JSON)

    assert values(client)["loopmargin_not_converged_total", ("parcel",)] == 1


def test_nothing_is_in_flight_between_requests(client: TestClient[Litestar]) -> None:
    """Also after a mistake of ours."""
    client.post(PARCEL, content=b'{"edges_mm":[1],"mood":"broken"}', headers=JSON)

    assert values(client)["loopmargin_http_requests_in_flight", ()] == 0
    assert requests(client) == {("POST", PARCEL, "500"): 1}


@settings(
    max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(
    path=st.text(st.characters(min_codepoint=33, max_codepoint=126), max_size=30),
    method=st.sampled_from(["GET", "POST", "PUT", "PROPFIND", "X-Y", "TRACE"]),
    prefix=st.sampled_from(["/", "/v1/", "/v1/answers/", "/docs/", "/problems/", PARCEL + "/"]),
)
def test_no_path_and_no_method_makes_a_label_of_its_own(
    client: TestClient[Litestar], path: str, method: str, prefix: str
) -> None:
    """Whatever is asked for, a label is a route or `other`."""
    client.request(method, f"http://testserver{prefix}{path.replace('?', '').replace('#', '')}")

    methods = {called for called, _, _ in requests(client)}
    routes = {route for _, route, _ in requests(client)}

    templates = {re.sub(r":\w+\}", "}", route.path) for route in client.app.routes}
    assert routes <= {*templates, "other"}
    assert methods <= {"GET", "POST", "PUT", "other"}


def test_names_and_units_follow_the_conventions() -> None:
    """Prometheus, naming of metrics: a prefix, a base unit, `_total` for what only grows."""
    for family in families(Meters(["parcel"])):
        name = family.name
        assert name.startswith(("loopmargin_", *STANDARD)), name
        assert re.fullmatch(r"[a-z_]+", name), name
        assert family.documentation
        if family.type == "histogram":
            assert name.endswith(UNITS), name
        for sample in family.samples:
            assert (family.type == "counter") == sample.name.endswith("_total"), sample.name


def test_every_word_of_a_tally_is_there_before_it_is_counted() -> None:
    """A rate over a series that does not exist yet would hide its first events."""
    meters = Meters(["parcel"])
    tally = Tally(meters.registry, "loopmargin_moods", "Moods.", "mood", ("well", "ill"))
    tally.add("ill")
    tally.add("never heard of")

    (family,) = (found for found in families(meters) if found.name == "loopmargin_moods")

    counted = {sample.labels["mood"]: sample.value for sample in family.samples}
    assert counted == {"well": 0, "ill": 1, "other": 1}


def test_what_runs_here_is_told(client: TestClient[Litestar]) -> None:
    """Version, edition and interpreter; memory and open files of the process."""
    names = {name for name, _ in values(client)}

    assert "loopmargin_build_info" in names
    assert {"process_resident_memory_bytes", "process_open_fds"} <= names


@pytest.mark.parametrize(
    ("header", "word"),
    [
        (b"loopmargin-answers; hit", "hit"),
        (b"loopmargin-answers; fwd=miss; stored", "stored"),
        (b"loopmargin-answers; fwd=miss; collapsed", "collapsed"),
        (b"loopmargin-answers; fwd=miss; detail=store-unavailable", "not_stored"),
        (b"", "not_stored"),
    ],
)
def test_a_cache_status_is_one_word(header: bytes, word: str) -> None:
    """RFC 9211, section 2."""
    assert store_result(header) == word


def test_metrics_are_not_served_to_callers(client: TestClient[Litestar], counter: Counter) -> None:
    """They have a port of their own."""
    assert client.get("/metrics").status_code == 404
    assert counter.calls == 0
