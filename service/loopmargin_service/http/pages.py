"""What is served for people and tools to read: the OpenAPI document, the reference, problems.

Everything is static and built at most once; nothing comes from another host.
"""

from functools import cache
from pathlib import Path

import msgspec
from litestar import route
from litestar.handlers import HTTPRouteHandler

from loopmargin_service.http.conditional import entity_tag, representation
from loopmargin_service.http.problems import BY_NAME, NOT_FOUND, ProblemError
from loopmargin_service.http.reference import problem_index, problem_page, reference_page
from loopmargin_service.http.reply import READING, Asking, Header, Reply

DOCUMENT = Path(__file__).with_name("openapi.json")
STYLE = Path(__file__).with_name("style.css")
HTML = b"text/html; charset=utf-8"
CSS = b"text/css; charset=utf-8"
JSON = b"application/json"


def page_handlers() -> list[HTTPRouteHandler]:
    """Make the handlers of everything that is there to be read."""

    async def openapi(request: Asking) -> Reply:
        return _page(request, published(), JSON)

    async def docs(request: Asking) -> Reply:
        return _page(request, _reference(), HTML)

    async def style(request: Asking) -> Reply:
        return _page(request, _style(), CSS)

    async def problems(request: Asking) -> Reply:
        return _page(request, problem_index(), HTML)

    async def problem(request: Asking) -> Reply:
        return _page(request, _problem(request.path_params["name"]), HTML)

    return [
        route("/openapi.json", http_method=READING)(openapi),
        route("/docs", http_method=READING)(docs),
        route("/docs/style.css", http_method=READING)(style),
        route("/problems", http_method=READING)(problems),
        route("/problems/{name:str}", http_method=READING)(problem),
    ]


@cache
def published() -> bytes:
    """Return the OpenAPI document as it was written and reviewed."""
    return DOCUMENT.read_bytes()


@cache
def _reference() -> bytes:
    return reference_page(msgspec.json.decode(published()))


@cache
def _style() -> bytes:
    return STYLE.read_bytes()


def _problem(name: str) -> bytes:
    if name not in BY_NAME:
        raise ProblemError(NOT_FOUND, f"There is no problem type {name[:64]!a}; see /problems.")
    return problem_page(BY_NAME[name])


def _page(request: Asking, body: bytes, media: bytes) -> Reply:
    headers: tuple[Header, ...] = (
        (b"content-type", media),
        (b"cache-control", b"public, max-age=300"),
    )
    return representation(request.scope, body, entity_tag(body), headers)
