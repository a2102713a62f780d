"""The service without its outer layers, down to one that is named."""

import os
import sys

from loopmargin_service.http.app import create_app
from loopmargin_service.http.log import logging_to
from loopmargin_service.http.serve import serve
from loopmargin_service.http.settings import Settings


def main(outermost: str) -> int:
    """Serve on a free port from the layer of a name on; the log is written and thrown away."""
    settings = Settings(port=0)
    with logging_to(os.open(os.devnull, os.O_WRONLY), settings) as (_, tell):
        app = create_app(settings, tell=tell)
        layer = app.asgi_handler
        while type(layer).__name__ != outermost:
            layer = layer._app  # type: ignore[attr-defined]  # noqa: SLF001 - every layer has it
        app.asgi_handler = layer
        return serve(app, settings)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1]))
