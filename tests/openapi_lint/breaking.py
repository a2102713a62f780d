"""Compare the OpenAPI document with the last release: would a client of then still work?

A question that was accepted has to be accepted, with the same defaults; what was promised
in an answer has to be there. Answers may grow; only the closed words below may not.
`--release` takes the present document as the last release.
"""

import argparse
import json
import sys
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

HERE = Path(__file__).parent
DOCUMENT = HERE.parents[1] / "openapi" / "openapi.json"
RELEASE = HERE / "last_release.json"
CLOSED = ("verdict", "status")
PROSE = frozenset({"description", "summary", "example", "examples", "title", "tags"})
NARROWS_WHEN_RAISED = ("minimum", "exclusiveMinimum", "minLength", "minItems")
NARROWS_WHEN_LOWERED = ("maximum", "exclusiveMaximum", "maxLength", "maxItems")
Schema = Mapping[str, Any]


def bare(value: Any, *, named: bool = False) -> Any:  # noqa: ANN401 - any JSON document
    """Drop what is written for people; `named` keys are names of ours and all stay."""
    if isinstance(value, list):
        return [bare(member) for member in value]
    if not isinstance(value, dict):
        return value
    return {
        key: bare(member, named=key in {"properties", "schemas", "headers", "paths"} and not named)
        for key, member in value.items()
        if named or key not in PROSE
    }


class Comparison:
    """Walks two documents side by side and lists what breaks a client."""

    def __init__(self, before: Schema, after: Schema) -> None:
        self._before = before
        self._after = after
        self._seen: set[tuple[str, str, bool]] = set()

    def breaks(self) -> list[str]:
        """List every break, each with its place."""
        return sorted(set(self._paths()))

    def _paths(self) -> Iterator[str]:
        for path, methods in self._before["paths"].items():
            for method, operation in methods.items():
                now = self._after["paths"].get(path, {}).get(method)
                place = f"{method.upper()} {path}"
                if now is None:
                    yield f"{place}: removed"
                    continue
                yield from self._parameters(operation, now, place)
                yield from self._content(
                    operation.get("requestBody", {}), now.get("requestBody", {}), place, asked=True
                )
                yield from self._responses(operation["responses"], now["responses"], place)

    def _parameters(self, before: Schema, after: Schema, place: str) -> Iterator[str]:
        known = self._by_name(self._before, before)
        for name, parameter in self._by_name(self._after, after).items():
            if parameter.get("required") and not known.get(name, {}).get("required"):
                yield f"{place}: {name[1]} is required now"
            if name in known:
                there = f"{place} {name[1]}"
                schemas = known[name]["schema"], parameter["schema"]
                yield from self._schemas(*schemas, there, asked=True)

    def _by_name(self, document: Schema, operation: Schema) -> dict[tuple[str, str], Schema]:
        found = (_followed(document, row) for row in operation.get("parameters", ()))
        return {(row["in"], row["name"]): row for row in found}

    def _responses(self, before: Schema, after: Schema, place: str) -> Iterator[str]:
        for status, response in before.items():
            there = f"{place} {status}"
            if status not in after:
                if status.startswith("2"):
                    yield f"{there}: no longer answered"
                continue
            was, now = (
                _followed(self._before, response),
                _followed(self._after, after[status]),
            )
            for header in was.get("headers", {}).keys() - now.get("headers", {}).keys():
                yield f"{there}: header {header} is no longer promised"
            yield from self._content(was, now, there, asked=False)

    def _content(self, before: Schema, after: Schema, place: str, *, asked: bool) -> Iterator[str]:
        for media, form in before.get("content", {}).items():
            if media not in after.get("content", {}):
                yield f"{place}: {media} removed"
                continue
            schemas = form["schema"], after["content"][media]["schema"]
            yield from self._schemas(*schemas, place, asked=asked)

    def _schemas(self, before: Schema, after: Schema, place: str, *, asked: bool) -> Iterator[str]:
        key = (before.get("$ref", ""), after.get("$ref", ""), asked)
        if key[0]:
            if key in self._seen:
                return
            self._seen.add(key)
            place = f"{place} {key[0].rsplit('/', 1)[1]}"
        was, now = _followed(self._before, before), _followed(self._after, after)
        yield from _kinds(was, now, place, asked=asked)
        yield from _words(was, now, place, asked=asked)
        if asked:
            yield from _bounds(was, now, place)
        yield from self._members(was, now, place, asked=asked)
        yield from self._choices(was, now, place, asked=asked)
        if "items" in was and "items" in now:
            yield from self._schemas(was["items"], now["items"], f"{place}[]", asked=asked)

    def _members(self, before: Schema, after: Schema, place: str, *, asked: bool) -> Iterator[str]:
        was, now = before.get("properties", {}), after.get("properties", {})
        for name in was.keys() - now.keys():
            yield f"{place}.{name}: removed"
        required, demanded = set(before.get("required", ())), set(after.get("required", ()))
        for name in (demanded - required) if asked else ():
            yield f"{place}.{name}: required now"
        for name in () if asked else (required - demanded) & now.keys():
            yield f"{place}.{name}: no longer promised"
        for name in sorted(was.keys() & now.keys()):
            yield from self._schemas(was[name], now[name], f"{place}.{name}", asked=asked)

    def _choices(self, before: Schema, after: Schema, place: str, *, asked: bool) -> Iterator[str]:
        was, now = _branches(before), _branches(after)
        for name in was.keys() - now.keys() if asked else ():
            yield f"{place}: {name} is no longer one of the choices"
        for name in sorted(was.keys() & now.keys()):
            yield from self._schemas(was[name], now[name], place, asked=asked)


def _followed(document: Schema, schema: Schema) -> Schema:
    reference = schema.get("$ref")
    if reference is None:
        return schema
    found: Any = document
    for step in reference.removeprefix("#/").split("/"):
        found = found[step]
    return _followed(document, found)


def _branches(schema: Schema) -> dict[str, Schema]:
    """Name each choice by what it refers to, or by its type."""
    choices = (*schema.get("anyOf", ()), *schema.get("oneOf", ()))
    return {str(row.get("$ref", row.get("type", ""))): row for row in choices}


def _kinds(before: Schema, after: Schema, place: str, *, asked: bool) -> Iterator[str]:
    was, now = _types(before), _types(after)
    wide, narrow = (now, was) if asked else (was, now)
    if wide and not narrow <= wide:
        yield f"{place}: was {' or '.join(sorted(was))}, is {' or '.join(sorted(now))}"


def _types(schema: Schema) -> set[str]:
    """List the JSON types that a schema allows; a whole number is a number, too."""
    named = schema.get("type", [])
    types = {named} if isinstance(named, str) else set(named)
    return types | {"integer"} if "number" in types else types


def _words(before: Schema, after: Schema, place: str, *, asked: bool) -> Iterator[str]:
    was, now = _listed(before), _listed(after)
    if asked and now and was - now:
        yield f"{place}: {', '.join(sorted(was - now))} no longer accepted"
    if not asked and was and place.endswith(CLOSED) and now - was:
        yield f"{place}: {', '.join(sorted(now - was))} added to a closed list"


def _listed(schema: Schema) -> set[str]:
    words = schema.get("enum", [schema["const"]] if "const" in schema else [])
    return {json.dumps(word) for word in words}


def _bounds(before: Schema, after: Schema, place: str) -> Iterator[str]:
    for name in NARROWS_WHEN_RAISED:
        if name in after and after[name] > before.get(name, float("-inf")):
            yield f"{place}: {name} {before.get(name, 'none')} became {after[name]}"
    for name in NARROWS_WHEN_LOWERED:
        if name in after and after[name] < before.get(name, float("inf")):
            yield f"{place}: {name} {before.get(name, 'none')} became {after[name]}"
    if "pattern" in after and after["pattern"] != before.get("pattern"):
        yield f"{place}: pattern changed"
    if "default" in before and after.get("default", before) != before["default"]:
        yield f"{place}: default {before['default']} became {after.get('default', 'none')}"


def main(arguments: Sequence[str] | None = None) -> int:
    """Compare, or take the present document as released."""
    parser = argparse.ArgumentParser(description=main.__doc__)
    parser.add_argument("--release", action="store_true", help="keep the present document")
    given = parser.parse_args(arguments)
    present = bare(json.loads(DOCUMENT.read_bytes()))
    if given.release:
        RELEASE.write_text(json.dumps(present, indent=1, sort_keys=True) + "\n", encoding="utf-8")
        return 0
    found = Comparison(json.loads(RELEASE.read_bytes()), present).breaks()
    sys.stdout.write(f"{len(found)} changes that break a client of the last release\n")
    sys.stderr.writelines(f"{line}\n" for line in found)
    return 1 if found else 0


if __name__ == "__main__":
    sys.exit(main())
