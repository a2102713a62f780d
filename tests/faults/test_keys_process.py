"""Keys over the life of a process: made, used, replaced, withdrawn, and never told."""

import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import httpx
import msgspec
import pytest

import loopmargin
from loopmargin_wire.supply_headroom import SupplyHeadroomQuestion
from tests.faults.service_process import ServiceProcess

QUESTION = msgspec.json.decode(
    Path("openapi/examples/supply-headroom.question.json").read_bytes(),
    type=SupplyHeadroomQuestion,
)
WAIT_S = 30.0


def made(path: Path, name: str, *arguments: str) -> str:
    """Make a key with the command and take what it prints."""
    command = [sys.executable, "-m", "loopmargin_service.http.make_key", name, "--file", str(path)]
    ended = subprocess.run(  # noqa: S603 - ourselves
        [*command, *arguments], capture_output=True, text=True, check=True
    )
    return ended.stdout.strip()


def opens(service: ServiceProcess, key: str) -> bool:
    """Tell whether a key is let in."""
    with loopmargin.Client(service.url, api_key=key, max_retries=0) as client:
        try:
            client.supply_headroom(QUESTION)
        except loopmargin.KeyRefused:
            return False
        return True


def wait_until(seen: Callable[[], bool]) -> None:
    """Look until something is so, for a long while."""
    limit = time.monotonic() + WAIT_S
    while not seen():
        assert time.monotonic() < limit
        time.sleep(0.05)


def hang_up(service: ServiceProcess) -> None:
    """Tell a process to read its keys now."""
    service.process.send_signal(signal.SIGHUP)


@pytest.mark.parametrize("tell", [hang_up, lambda _service: None], ids=["told", "by itself"])
def test_one_key_is_replaced_by_another_without_a_pause(
    tmp_path: Path, tell: Callable[[ServiceProcess], None]
) -> None:
    """Old and new hold together, a broken file changes nothing, and at last only the new holds."""
    path = tmp_path / "keys.jsonl"
    old = made(path, "tool-1")
    with ServiceProcess(keys_file=str(path)) as service:
        assert opens(service, old)
        assert not opens(service, "")

        new = made(path, "tool-2")
        tell(service)
        wait_until(lambda: opens(service, new))
        assert opens(service, old)

        lines = path.read_text().splitlines(keepends=True)
        path.write_text(lines[0] + "{")
        tell(service)
        wait_until(lambda: degraded(service))
        assert opens(service, old)
        assert opens(service, new)

        path.write_text(lines[1])
        tell(service)
        wait_until(lambda: not opens(service, old))
        assert opens(service, new)
        assert not degraded(service)

        service.stop()
        said = service.process.stderr.read() if service.process.stderr else ""
    assert "tool-2" in said
    assert [key for key in (old, new) if key.partition(".")[2] in said] == []


def degraded(service: ServiceProcess) -> bool:
    """Tell whether the replica says that it does without new keys."""
    return bool(httpx.get(f"{service.url}/readyz").json()["degraded"])


def test_without_keys_a_hang_up_ends_nothing() -> None:
    """Whoever tells all processes to read again tells this one, too."""
    with ServiceProcess() as service:
        hang_up(service)

        assert opens(service, "")


def test_a_file_that_cannot_be_used_starts_nothing(tmp_path: Path) -> None:
    """Better than a service that nobody, or everybody, may ask."""
    path = tmp_path / "keys.jsonl"
    path.write_text("{}\n")
    environment = {"LOOPMARGIN_KEYS_FILE": str(path), "PATH": ""}
    command = [sys.executable, "-m", "loopmargin_service.http", "--port", "0"]

    ended = subprocess.run(  # noqa: S603 - ourselves
        command, env=environment, capture_output=True, text=True, check=False
    )

    assert ended.returncode == 2
    assert "LOOPMARGIN_KEYS_FILE" in ended.stderr
    assert "line 1" in ended.stderr
