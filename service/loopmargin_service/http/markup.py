"""HTML from nested calls, with everything escaped that is not already HTML."""

import re
from collections.abc import Sequence
from html import escape

_CODE = re.compile(r"`([^`]+)`")
_ALONE = frozenset({"meta", "link"})


class Html(str):
    """Text that is HTML already."""

    __slots__ = ()


def element(name: str, /, *content: str, **attributes: str) -> Html:
    """Write one element; an attribute that Python reserves is given a trailing underscore."""
    said = "".join(
        f' {key.rstrip("_").replace("_", "-")}="{escape(value)}"'
        for key, value in attributes.items()
    )
    opened = f"<{name}{said}>"
    if name in _ALONE:
        return Html(opened)
    return Html(f"{opened}{joined(*content)}</{name}>")


def joined(*content: str) -> Html:
    """Put pieces side by side, escaping plain text."""
    return Html("".join(piece if isinstance(piece, Html) else escape(piece) for piece in content))


def prose(text: str) -> Html:
    """Write paragraphs, parted by empty lines, with code between backticks."""
    return joined(*(element("p", line(paragraph)) for paragraph in text.split("\n\n")))


def line(text: str) -> Html:
    """Write one line with code between backticks."""
    return Html(_CODE.sub(r"<code>\1</code>", escape(text, quote=False)))


def table(head: tuple[str, ...], rows: Sequence[tuple[str, ...]], **attributes: str) -> Html:
    """Write a table that scrolls on its own when the window is narrow."""
    top = element("tr", *(element("th", title, scope="col") for title in head))
    body = [element("tr", *(element("td", cell) for cell in row)) for row in rows]
    whole = element("table", element("thead", top), element("tbody", *body), **attributes)
    return element("div", whole, class_="scroll")


def page(title: str, *content: str) -> bytes:
    """Write a whole page with our own style sheet and nothing from elsewhere."""
    head = element(
        "head",
        element("meta", charset="utf-8"),
        element("meta", name="viewport", content="width=device-width, initial-scale=1"),
        element("title", title),
        element("link", rel="stylesheet", href="/docs/style.css"),
    )
    return (
        f"<!doctype html>\n{element('html', head, element('body', *content), lang='en')}\n".encode()
    )
