"""The commands that the image runs, run here as processes with the image's own settings."""

import json
import os
import re
import socket
import subprocess
import sys
import time
from pathlib import Path

import httpx

DOCKERFILE = Path("deploy/Dockerfile").read_text(encoding="utf-8")
WAIT_S = 20.0


def command(instruction: str) -> list[str]:
    """Read a command in its exec form; `python` is the one that runs the tests."""
    (found,) = re.findall(rf"{instruction} (\[.*\])$", DOCKERFILE, re.MULTILINE)
    words: list[str] = json.loads(found)
    assert words[0] == "python"
    return [sys.executable, *words[1:]]


def free_ports(count: int) -> list[str]:
    """Take free ports and let go of them."""
    held = [socket.create_server(("127.0.0.1", 0)) for _ in range(count)]
    ports = [str(taken.getsockname()[1]) for taken in held]
    for taken in held:
        taken.close()
    return ports


def environment() -> dict[str, str]:
    """Give what the image sets, but a free port for each port and this machine alone."""
    given = dict(re.findall(r"\b([A-Z_]+)=([^\s$:]+)(?= \\|\n)", DOCKERFILE))
    assert given["LOOPMARGIN_HOST"] == "0.0.0.0"  # noqa: S104 - inside a container
    port, metrics = free_ports(2)
    clean = {name: value for name, value in os.environ.items() if "LOOPMARGIN" not in name}
    own = {
        "LOOPMARGIN_HOST": "127.0.0.1",
        "LOOPMARGIN_PORT": port,
        "LOOPMARGIN_METRICS_PORT": metrics,
        "LOOPMARGIN_DRAIN_S": "0",
    }
    return {**clean, **given, **own}


def healthy(settings: dict[str, str]) -> bool:
    """Run the health check once, as the engine does."""
    done = subprocess.run(command("CMD"), env=settings, capture_output=True, check=False)  # noqa: S603 - ourselves
    assert done.returncode in {0, 1}
    assert b"Traceback" not in done.stderr
    return done.returncode == 0


def test_the_image_starts_is_healthy_and_stops() -> None:
    """Unhealthy before, healthy while it runs, its metrics where they are scraped, 0 at the end."""
    settings = environment()
    assert not healthy(settings)
    with subprocess.Popen(  # noqa: S603 - ourselves
        command("ENTRYPOINT"),
        env=settings,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    ) as running:
        try:
            end = time.monotonic() + WAIT_S
            while not healthy(settings) and time.monotonic() < end:
                time.sleep(0.1)
            assert healthy(settings)
            metrics = httpx.get(f"http://127.0.0.1:{settings['LOOPMARGIN_METRICS_PORT']}/metrics")

            assert 'loopmargin_http_requests_total{method="GET",route="/livez"' in metrics.text
        finally:
            running.terminate()
            ended = running.wait(WAIT_S)

    assert ended == 0
    assert not healthy(settings)
