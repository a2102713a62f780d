"""What a setting accepts, in words, read off its JSON Schema."""

from collections.abc import Iterator
from typing import Any

_KINDS = {"string": "text", "integer": "whole number", "number": "number"}


def accepted(about: dict[str, Any]) -> str:
    """Say what one property of a schema accepts, with Markdown around words to be copied."""
    if "enum" in about:
        return " or ".join(f"`{word}`" for word in about["enum"])
    if about.get("type") == "boolean":
        return "`true` or `false`"
    return ", ".join(_bounds(about))


def _bounds(about: dict[str, Any]) -> Iterator[str]:
    yield _KINDS.get(about.get("type", ""), "text")
    if "minimum" in about or "maximum" in about:
        yield f"{about.get('minimum', '')} to {about.get('maximum', '')}"
    if "maxLength" in about:
        yield f"at most {about['maxLength']} characters"
    if "examples" in about:
        yield f"such as `{about['examples'][0]}`"
