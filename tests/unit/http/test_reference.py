"""The reference pages: complete, linked, and from this service alone."""

import json
import re
from pathlib import Path

import pytest
from litestar import Litestar
from litestar.testing import TestClient

from loopmargin_service.http.markup import Html, element, joined, line, prose
from loopmargin_service.http.problems import KINDS
from loopmargin_service.http.routes import ROUTES

DOCUMENT = json.loads(Path("openapi/openapi.json").read_bytes())
PAGES = ["/docs", "/problems", *(kind.type for kind in KINDS)]


@pytest.mark.parametrize("path", PAGES)
def test_pages_need_nothing_from_elsewhere(client: TestClient[Litestar], path: str) -> None:
    """No script, no style in place, no other host; the policy would stop them anyway."""
    response = client.get(path)

    assert (
        response.status_code,
        response.headers["content-type"],
    ) == (200, "text/html; charset=utf-8")
    assert not re.search(r"<script|style=|https?://|//", response.text.replace("</", "<"))
    assert "style-src 'self'" in response.headers["content-security-policy"]


def test_every_link_of_the_reference_leads_somewhere(client: TestClient[Litestar]) -> None:
    """Anchors are on the page, paths are served."""
    text = client.get("/docs").text
    anchors = set(re.findall(r'id="([^"]+)"', text))
    links = set(re.findall(r'href="([^"]+)"', text))

    assert {link[1:] for link in links if link.startswith("#")} <= anchors
    assert {200} == {client.get(link).status_code for link in links if link.startswith("/")}


def test_the_reference_shows_every_question_type_and_problem(client: TestClient[Litestar]) -> None:
    """Nothing of the document is left out."""
    text = client.get("/docs").text

    assert all(f"<code>{row.path}</code>" in text for row in ROUTES)
    assert all(f'id="type-{name}"' in text for name in DOCUMENT["components"]["schemas"])
    assert all(f'href="{kind.type}"' in text for kind in KINDS)


def test_a_page_that_is_held_is_304(client: TestClient[Litestar]) -> None:
    """Pages have tags as answers have."""
    first = client.get("/docs")

    again = client.get("/docs", headers={"if-none-match": first.headers["etag"]})

    assert (again.status_code, again.content) == (304, b"")


def test_the_style_sheet_is_served_as_one(client: TestClient[Litestar]) -> None:
    """With nosniff, the type has to be right."""
    response = client.get("/docs/style.css")

    assert response.headers["content-type"] == "text/css; charset=utf-8"
    assert "url(" not in response.text


def test_text_is_escaped_and_markup_is_not() -> None:
    """What comes from a description cannot become an element."""
    assert (
        element("p", "<b>", Html("<i></i>"), class_='"') == '<p class="&quot;">&lt;b&gt;<i></i></p>'
    )
    assert joined("&", Html("&amp;")) == "&amp;&amp;"
    assert line("`a<b` & c") == "<code>a&lt;b</code> &amp; c"
    assert prose("one\n\ntwo") == "<p>one</p><p>two</p>"
