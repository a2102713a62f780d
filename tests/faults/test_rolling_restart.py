"""A new version comes out under load, one replica after the other, and no request is lost.

The callers try nothing twice, and neither does the balancer: what is lost once is lost.
"""

import contextlib
import itertools
import ssl
import threading
import time
from collections.abc import Callable
from pathlib import Path
from types import TracebackType
from typing import Self

import httpx
import msgspec
import pytest

from tests.faults.balancer import Balancer
from tests.faults.proxy_process import ProxyProcess
from tests.faults.service_process import WAIT_S, ServiceProcess

QUESTION = msgspec.json.decode(Path("openapi/examples/supply-headroom.question.json").read_bytes())
CALLERS = 4
DRAIN_S = "300"


class Callers:
    """Threads that ask within a block, one new question after the other, and note what came."""

    def __init__(self, url: str, verify: ssl.SSLContext | bool = True) -> None:  # noqa: FBT001, FBT002 - as httpx has it
        self.statuses: list[int] = []
        self.lost: list[str] = []
        self._url = url + "/v1/supply-headroom"
        self._verify = verify
        self._numbers = itertools.count()
        self._enough = threading.Event()
        self._threads = [threading.Thread(target=self._ask) for _ in range(CALLERS)]

    def __enter__(self) -> Self:
        """Start asking."""
        for thread in self._threads:
            thread.start()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """Let each finish its question."""
        self._enough.set()
        for thread in self._threads:
            thread.join()

    def _ask(self) -> None:
        with httpx.Client(timeout=WAIT_S, verify=self._verify) as client:
            while not self._enough.wait(0.01):
                asked = {**QUESTION, "rest_w": 20.0 + 1e-3 * next(self._numbers)}
                try:
                    self.statuses.append(client.post(self._url, json=asked).status_code)
                except httpx.TransportError as error:
                    self.lost.append(repr(error))


def replace(old: ServiceProcess, balancer: Balancer, callers: Callers) -> None:
    """Tell a replica to stop, and hurry it once nothing comes to it any more.

    The second signal stands for the end of the drain, which would have to be guessed here.
    """
    old.terminate()
    wait_until(lambda: old.url not in balancer.ready)
    answered = len(callers.statuses)
    wait_until(lambda: len(callers.statuses) > answered + 10 * CALLERS)
    assert old.stop() == 0
    balancer.replicas.remove(old.url)


def wait_until(seen: Callable[[], bool]) -> None:
    """Wait for something to be so."""
    deadline = time.monotonic() + WAIT_S
    while not seen():
        assert time.monotonic() < deadline
        time.sleep(0.01)


def test_a_rolling_restart_loses_no_request() -> None:
    """Each old replica is told to stop once its successor is there, and ends with status 0."""
    with contextlib.ExitStack() as replicas:
        olds = [replicas.enter_context(ServiceProcess(drain_s=DRAIN_S)) for _ in range(2)]
        balancer = replicas.enter_context(Balancer([old.url for old in olds]))
        with Callers(balancer.url) as callers:
            for old in olds:
                new = replicas.enter_context(ServiceProcess())
                balancer.replicas.append(new.url)
                wait_until(lambda url=new.url: url in balancer.ready)
                replace(old, balancer, callers)
    asked = len(callers.statuses)

    assert callers.lost == []
    assert callers.statuses == [200] * asked
    assert asked > 20 * CALLERS


@pytest.mark.proxy
def test_a_rolling_restart_behind_the_shipped_proxy_loses_no_request(tmp_path: Path) -> None:
    """Each replica is stopped and started again on its port; nginx goes to the other meanwhile.

    It is told to look up its replicas again each time, as deploy/README.md has it.
    """
    with contextlib.ExitStack() as replicas:
        olds = [replicas.enter_context(ServiceProcess(drain_s="1")) for _ in range(2)]
        proxy = replicas.enter_context(ProxyProcess(tmp_path, [old.url for old in olds]))
        trusted = ssl.create_default_context(cafile=proxy.certificate)
        with Callers(proxy.url, trusted) as callers:
            for old in olds:
                served(callers)
                old.terminate()
                assert old.process.wait(WAIT_S) == 0
                served(callers)
                port = httpx.URL(old.url).port
                assert port is not None
                replicas.enter_context(ServiceProcess(port, drain_s="1"))
                proxy.reload()
            served(callers)
    asked = len(callers.statuses)

    assert callers.lost == []
    assert callers.statuses == [200] * asked
    assert asked > 20 * CALLERS


def served(callers: Callers) -> None:
    """Wait until callers have had some more answers."""
    answered = len(callers.statuses)
    wait_until(lambda: len(callers.statuses) > answered + 10 * CALLERS)
