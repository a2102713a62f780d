"""The shipped proxy configuration under a real nginx, in front of services on loopback."""

import os
import shutil
import signal
import socket
import ssl
import subprocess
import time
from pathlib import Path
from types import TracebackType
from typing import Self

import httpx

SHIPPED = Path("deploy/proxy/nginx.conf")
WAIT_S = 10.0
# Started by root, nginx would hand its work to an account that may not enter the test's folder.
ALONE = "daemon off;" + (" user root;" if os.geteuid() == 0 else "")


class ProxyProcess:
    """Runs nginx within a block; only addresses and places of files are replaced."""

    def __init__(self, folder: Path, replicas: list[str]) -> None:
        self._folder = folder
        self.certificate, self._key = certificate(folder)
        self.plain_port, self.port = free_ports()
        self.url = f"https://127.0.0.1:{self.port}"
        self.configuration = folder / "nginx.conf"
        self.configuration.write_text(self._placed(replicas))

    def _placed(self, replicas: list[str]) -> str:
        first, second = (httpx.URL(url).netloc.decode() for url in replicas)
        text = SHIPPED.read_text().replace(" /tmp/", f" {self._folder}/")
        for shipped, here in (
            ("replica-a:8000", first),
            ("replica-b:8000", second),
            ("listen 8080", f"listen 127.0.0.1:{self.plain_port}"),
            ("listen 8443", f"listen 127.0.0.1:{self.port}"),
            ("/run/secrets/tls.crt", str(self.certificate)),
            ("/run/secrets/tls.key", str(self._key)),
            ("/dev/stdout", str(self._folder / "access.log")),
        ):
            assert text.count(shipped) == 1, shipped
            text = text.replace(shipped, here)
        return text

    def __enter__(self) -> Self:
        """Start it and wait until it accepts connections."""
        self._said = (self._folder / "error.log").open("w")
        self.process = subprocess.Popen(  # noqa: S603 - a fixed command, no shell
            [*nginx(), "-c", str(self.configuration), "-g", ALONE],
            stderr=self._said,
        )
        deadline = time.monotonic() + WAIT_S
        while not listening(self.port):
            if time.monotonic() > deadline:
                self.stop()
                raise TimeoutError((self._folder / "error.log").read_text())
            time.sleep(0.02)
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """Stop it."""
        self.stop()

    def reload(self) -> None:
        """Have it read its configuration again."""
        self.process.send_signal(signal.SIGHUP)

    def stop(self) -> None:
        """Stop it by its number."""
        self.process.terminate()
        self.process.wait(WAIT_S)
        self._said.close()

    def caller(self) -> httpx.Client:
        """Make a client that trusts this proxy's certificate and no other."""
        trusted = ssl.create_default_context(cafile=self.certificate)
        return httpx.Client(base_url=self.url, verify=trusted, timeout=20.0)


def listening(port: int) -> bool:
    """Tell whether somebody accepts connections."""
    with socket.socket() as tried:
        return tried.connect_ex(("127.0.0.1", port)) == 0


def nginx() -> list[str]:
    """Find nginx; it has to be there."""
    found = shutil.which("nginx", path="/usr/sbin:/usr/bin:/usr/local/sbin:/usr/local/bin")
    assert found, "nginx is not installed"
    return [found, "-e", "stderr"]


def certificate(folder: Path) -> tuple[Path, Path]:
    """Make a self-signed certificate for loopback."""
    made, key = folder / "tls.crt", folder / "tls.key"
    subprocess.run(  # noqa: S603 - a fixed command, no shell
        [
            *("openssl", "req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:P-256"),
            *("-nodes", "-days", "2", "-subj", "/CN=loopback"),
            *("-addext", "subjectAltName=IP:127.0.0.1"),
            *("-keyout", str(key), "-out", str(made)),
        ],
        check=True,
        capture_output=True,
    )
    return made, key


def free_ports() -> tuple[int, int]:
    """Find two ports that nobody listens on."""
    with (
        socket.create_server(("127.0.0.1", 0)) as one,
        socket.create_server(("127.0.0.1", 0)) as two,
    ):
        return one.getsockname()[1], two.getsockname()[1]
