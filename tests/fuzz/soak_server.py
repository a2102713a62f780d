"""The service, and one path more that tells what its event loop has to do: the soak's own."""

import asyncio
import sys
from typing import Any

from litestar import Litestar
from litestar.types import ASGIApp, Receive, Scope, Send

from loopmargin_service.http import serve
from loopmargin_service.http.app import create_app
from loopmargin_service.http.reply import Reply, length

TASKS_PATH = "/soak/tasks"


class Tasks:
    """The outermost layer: counts the tasks of the event loop."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Tell the count, or hand the request on."""
        if scope.get("path") != TASKS_PATH:
            await self._app(scope, receive, send)
            return
        body = str(len(asyncio.all_tasks())).encode()
        await Reply(200, (length(body),), body)(scope, receive, send)


def watched(*arguments: Any, **named: Any) -> Litestar:  # noqa: ANN401 - whatever the service is given
    """Make the application of the service, and look at its loop."""
    app = create_app(*arguments, **named)
    app.asgi_handler = Tasks(app.asgi_handler)
    return app


if __name__ == "__main__":
    serve.create_app = watched
    sys.exit(serve.main())
