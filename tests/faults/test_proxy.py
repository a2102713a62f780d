"""The shipped proxy in front of two real replicas: what it passes on and what it stops."""

import contextlib
import json
import socket
import ssl
import subprocess
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple

import httpx
import pytest

from tests.faults.proxy_process import ProxyProcess, nginx
from tests.faults.service_process import ServiceProcess

pytestmark = pytest.mark.proxy

QUESTION = Path("openapi/examples/supply-headroom.question.json").read_bytes()
PATH = "/v1/supply-headroom"
JSON = {"content-type": "application/json"}
PROBLEM = "application/problem+json"


class Site(NamedTuple):
    """Two replicas behind one proxy."""

    proxy: ProxyProcess
    replicas: tuple[ServiceProcess, ServiceProcess]


@contextlib.contextmanager
def opened(folder: Path) -> Iterator[Site]:
    """Start two replicas and the proxy."""
    with (
        ServiceProcess() as first,
        ServiceProcess() as second,
        ProxyProcess(folder, [first.url, second.url]) as proxy,
    ):
        yield Site(proxy, (first, second))


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Site]:
    """Run one site for all tests that leave it alone."""
    with opened(tmp_path_factory.mktemp("site")) as running:
        yield running


@pytest.fixture
def caller(site: Site) -> Iterator[httpx.Client]:
    """Call the site over TLS."""
    with site.proxy.caller() as client:
        yield client


def refused(response: httpx.Response) -> tuple[int, str, int]:
    """Read how a refusal presents itself."""
    return response.status_code, response.headers["content-type"], response.json()["status"]


def test_the_configuration_is_sound_to_nginx_itself(site: Site) -> None:
    """`nginx -t` has neither an error nor a warning."""
    done = subprocess.run(  # noqa: S603 - a fixed command, no shell
        [*nginx(), "-t", "-q", "-c", str(site.proxy.configuration)],
        capture_output=True,
        text=True,
        check=False,
    )

    assert (done.returncode, done.stderr) == (0, "")


def test_an_answer_passes_unchanged(site: Site, caller: httpx.Client) -> None:
    """Body and strong tag are the service's own; the proxy only adds its header."""
    direct = httpx.post(site.replicas[0].url + PATH, content=QUESTION, headers=JSON)

    through = caller.post(PATH, content=QUESTION, headers=JSON)

    assert (200, direct.content) == (through.status_code, through.content)
    assert direct.headers["etag"] == through.headers["etag"]
    assert through.headers["strict-transport-security"] == "max-age=31536000"


def test_both_replicas_are_asked(site: Site, caller: httpx.Client) -> None:
    """Requests are spread; each process counts its own in its Request-Id."""
    names = {caller.get("/livez").headers["request-id"].partition("-")[0] for _ in range(8)}

    assert len(site.replicas) == len(names)


def test_the_service_refuses_in_its_own_words(caller: httpx.Client) -> None:
    """What the service refuses is passed on, with its type."""
    response = caller.post(PATH, content=b" " * 300_000, headers=JSON)

    assert refused(response) == (413, PROBLEM, 413)
    assert response.json()["type"].startswith("/problems/")


def test_a_body_far_too_long_stops_at_the_proxy(caller: httpx.Client) -> None:
    """Half a megabyte never reaches a replica, and the refusal looks like the service's."""
    response = caller.post(PATH, content=b" " * 600_000, headers=JSON)

    assert refused(response) == (413, PROBLEM, 413)
    assert response.json()["type"] == "about:blank"


@pytest.mark.parametrize("name", ["x-one", "authorization"])
def test_a_header_too_long_is_refused(caller: httpx.Client, name: str) -> None:
    """One header may have 8 KiB."""
    assert refused(caller.get("/livez", headers={name: "a" * 9000})) == (400, PROBLEM, 400)


def test_a_path_too_long_is_refused(caller: httpx.Client) -> None:
    """So may the request line."""
    assert refused(caller.get("/" + "a" * 9000)) == (400, PROBLEM, 400)


def test_a_slow_sender_is_cut_off(site: Site) -> None:
    """A head that does not end is dropped after 5 s, however alive its sender looks."""
    trusted = ssl.create_default_context(cafile=site.proxy.certificate)
    began = time.monotonic()
    with (
        socket.create_connection(("127.0.0.1", site.proxy.port)) as plain,
        trusted.wrap_socket(plain, server_hostname="127.0.0.1") as connection,
    ):
        connection.sendall(b"GET /livez HTTP/1.1\r\nhost: test\r\nx-slow: ")
        connection.settimeout(0.25)
        while time.monotonic() - began < 15 and not hung_up(connection):
            pass

    assert 4 < time.monotonic() - began < 8


def hung_up(connection: ssl.SSLSocket) -> bool:
    """Send one more byte and look whether the other side is still there."""
    try:
        connection.sendall(b"a")
        return connection.recv(100) == b""
    except TimeoutError:
        return False
    except OSError:
        return True


def test_plain_http_leads_to_tls(site: Site) -> None:
    """The method survives the redirect, so a POST stays one."""
    response = httpx.post(f"http://127.0.0.1:{site.proxy.plain_port}{PATH}", content=QUESTION)

    assert (308, f"https://127.0.0.1{PATH}") == (
        response.status_code,
        response.headers["location"],
    )


def test_each_request_is_one_line_of_json(site: Site, caller: httpx.Client) -> None:
    """With its Request-Id and how long the replica took."""
    caller.get("/livez", headers={"request-id": "logged-1"})

    lines = (site.proxy.configuration.parent / "access.log").read_text().splitlines()
    logged = [json.loads(line) for line in lines]
    assert [row["status"] for row in logged if row["request_id"] == "logged-1"] == [200]


def test_no_request_fails_when_a_replica_goes(tmp_path: Path) -> None:
    """One replica is killed between requests: the other answers all of them."""
    with opened(tmp_path) as site, site.proxy.caller() as client:
        statuses = [client.post(PATH, content=QUESTION, headers=JSON).status_code]
        site.replicas[0].process.kill()
        site.replicas[0].process.wait()
        statuses += [
            client.post(PATH, content=QUESTION, headers=JSON).status_code for _ in range(20)
        ]

        assert statuses == [200] * 21


def test_without_replicas_the_proxy_says_so(tmp_path: Path) -> None:
    """503, Retry-After and a problem, at once."""
    with opened(tmp_path) as site, site.proxy.caller() as client:
        for replica in site.replicas:
            replica.stop()
        response = client.post(PATH, content=QUESTION, headers=JSON)

        assert refused(response) == (503, PROBLEM, 503)
        assert response.headers["retry-after"] == "1"


def test_a_replica_that_is_cut_off_costs_a_second_and_no_answer(tmp_path: Path) -> None:
    """Nothing refuses or answers there, as when a host is gone: the other replica is asked."""
    with (
        ServiceProcess() as alive,
        unreachable() as gone,
        ProxyProcess(tmp_path, [gone, alive.url]) as proxy,
        proxy.caller() as client,
    ):
        statuses = [client.post(PATH, content=QUESTION, headers=JSON).status_code for _ in range(4)]

    assert statuses == [200] * 4


@contextlib.contextmanager
def unreachable() -> Iterator[str]:
    """Listen where no connection is accepted: its queue is full, so that packets are dropped."""
    with contextlib.ExitStack() as open_ones:
        door = open_ones.enter_context(socket.socket())
        door.bind(("127.0.0.1", 0))
        door.listen(0)
        for _ in range(3):
            waiting = open_ones.enter_context(socket.socket())
            waiting.setblocking(False)  # noqa: FBT003 - as the library has it
            waiting.connect_ex(door.getsockname())
        yield f"http://127.0.0.1:{door.getsockname()[1]}"


def test_an_answer_that_is_late_is_not_asked_for_twice(tmp_path: Path) -> None:
    """Both replicas take a question and say nothing; with shorter times, one of them is asked."""
    with silent() as (first, firsts), silent() as (second, seconds):
        proxy = ProxyProcess(tmp_path, [first, second])
        text = proxy.configuration.read_text()
        for shipped, here in (
            ("proxy_read_timeout 35s", "proxy_read_timeout 3s"),
            ("proxy_next_upstream_timeout 5s", "proxy_next_upstream_timeout 1s"),
        ):
            assert text.count(shipped) == 1
            text = text.replace(shipped, here)
        proxy.configuration.write_text(text)
        with proxy, proxy.caller() as client:
            response = client.post(PATH, content=QUESTION, headers=JSON)

    assert refused(response) == (503, PROBLEM, 503)
    assert len(firsts) + len(seconds) == 1


@contextlib.contextmanager
def silent() -> Iterator[tuple[str, list[socket.socket]]]:
    """Accept connections and say nothing; give those that came."""
    came: list[socket.socket] = []
    with socket.create_server(("127.0.0.1", 0)) as door:

        def accept() -> None:
            with contextlib.suppress(OSError):
                while True:
                    came.append(door.accept()[0])

        accepting = threading.Thread(target=accept)
        accepting.start()
        try:
            yield f"http://127.0.0.1:{door.getsockname()[1]}", came
        finally:
            door.shutdown(socket.SHUT_RDWR)
            accepting.join()
            for connection in came:
                connection.close()
