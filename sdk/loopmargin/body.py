"""Bodies on their way out and in: checked, encoded, decoded.

A question is checked before it is sent, because a Struct does not check what it is
constructed from. An answer may hold fields that this version does not know. The Structs
of answers skip them; the question echoed in an answer forbids unknown fields, so there
they are cut out one by one.
"""

import re
from collections.abc import Callable
from contextlib import suppress
from operator import index
from typing import Any, SupportsFloat, SupportsIndex, TypeVar

import msgspec

from loopmargin.errors import InvalidQuestion
from loopmargin.options import Encoding
from loopmargin_wire.answer import Answer, Question
from loopmargin_wire.problem import FieldError, Problem

Q = TypeVar("Q", bound=Question)
A = TypeVar("A", bound=Answer)

MEDIA_TYPES: dict[Encoding, str] = {
    "json": "application/json",
    "msgpack": "application/vnd.msgpack",
}
DECODERS: dict[str, Callable[..., Any]] = {
    MEDIA_TYPES["json"]: msgspec.json.decode,
    MEDIA_TYPES["msgpack"]: msgspec.msgpack.decode,
}
PROBLEM_TYPE = "application/problem+json"
MOST_UNKNOWN_FIELDS = 500

PLACED = re.compile(r"(?P<said>.*) - at `(?P<path>\$.*)`")
UNKNOWN = re.compile(r"Object contains unknown field `(?P<name>.*)`")
STEP = re.compile(r"\.([A-Za-z_][A-Za-z0-9_]*)|\[(\d+)\]")


def checked(question: Q) -> Q:
    """Question as the service would decode it, or InvalidQuestion with the field at fault."""
    plain = None
    try:
        plain = msgspec.to_builtins(question, enc_hook=plain_number)
        return msgspec.convert(plain, type(question))
    except (msgspec.ValidationError, TypeError) as error:
        raise InvalidQuestion(problem_of(error, plain)) from error


def plain_number(value: object) -> int | float:
    """Turn a number of another library into Python's own, so that array scalars can be asked."""
    if isinstance(value, SupportsIndex | SupportsFloat):
        with suppress(TypeError):
            return index(value)  # type: ignore[arg-type]
        with suppress(TypeError):
            return float(value)
    raise TypeError(f"A question cannot hold a value of type {type(value).__name__}.")


def problem_of(error: Exception, plain: object) -> Problem:
    """Say what the service would say about a question that breaks the wire contract."""
    said, path = split(str(error))
    pointer = "".join(f"/{step}" for step in steps(path))
    value = found(plain, path)
    if isinstance(value, str | float | int):
        said = f"{said}; the value is {value!r:.60}"
    return Problem(
        type="/problems/constraint",
        title="A field is missing, unknown or outside its limits",
        status=422,
        detail="The question breaks the wire contract and was not sent.",
        errors=(FieldError(pointer=f"#{pointer}", detail=said),),
    )


def split(text: str) -> tuple[str, str]:
    """Split a decoder's sentence into what it says and the path that it says it of."""
    placed = PLACED.fullmatch(text)
    return (placed["said"], placed["path"]) if placed else (text, "$")


def steps(path: str) -> list[str | int]:
    """Split a decoder's path: `$.fans[2].name` is fans, 2, name."""
    return [name or int(place) for name, place in STEP.findall(path)]


def found(plain: Any, path: str) -> Any:  # noqa: ANN401 - whatever JSON can say
    """Follow a decoder's path through plain dictionaries and lists."""
    for step in steps(path):
        plain = plain[step]
    return plain


def encoded(question: Question, encoding: Encoding) -> bytes:
    """Write a question."""
    return msgspec.json.encode(question) if encoding == "json" else msgspec.msgpack.encode(question)


def decoded(body: bytes, media_type: str, answer: type[A]) -> A:
    """Read an answer in the encoding that it came in."""
    decode = DECODERS.get(media_type)
    if decode is None:
        raise msgspec.DecodeError(f"The body is {media_type or 'without a Content-Type'}")
    try:
        read: A = decode(body, type=answer)
    except msgspec.ValidationError:
        read = tolerant(decode(body), answer)
    return read


def tolerant(raw: object, answer: type[A]) -> A:
    """Convert an answer, cutting out the fields that this version does not know."""
    for _ in range(MOST_UNKNOWN_FIELDS):
        try:
            return msgspec.convert(raw, answer)
        except msgspec.ValidationError as error:
            said, path = split(str(error))
            unknown = UNKNOWN.fullmatch(said)
            if unknown is None:
                raise
            del found(raw, path)[unknown["name"]]
    raise msgspec.ValidationError(f"More than {MOST_UNKNOWN_FIELDS} unknown fields")
