"""Serve the bare handler as the service is served: `python -m tests.performance.bare_server`."""

import sys
from pathlib import Path

import uvicorn

from loopmargin_service.http.health import Readiness
from loopmargin_service.http.serve import Worker
from loopmargin_service.http.settings import Settings
from loopmargin_service.http.store import AnswerStore
from tests.performance.bare import bare_app


def main(answer: Path) -> None:
    """Listen on a free port and say which."""
    config = uvicorn.Config(
        bare_app(answer.read_bytes()),
        host="127.0.0.1",
        port=0,
        loop="uvloop",
        http="httptools",
        log_level="warning",
        access_log=False,
        server_header=False,
        timeout_keep_alive=65,
    )
    bound = config.bind_socket()
    Worker(config, Readiness(AnswerStore(0, 1)), None, Settings()).run(sockets=[bound])


if __name__ == "__main__":
    main(Path(sys.argv[1]))
