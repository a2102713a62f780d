"""A body into a question: strict types, no coercion, every fault named.

What cannot be read is 400; what can be read but breaks the published limits is 422.
A whole number may be written 1.0, because JSON Schema counts that as an integer.
"""

from contextlib import suppress
from typing import Generic, TypeVar

import msgspec
from msgspec import Struct, inspect

from loopmargin_service.http import duplicates
from loopmargin_service.http.media import Media
from loopmargin_service.http.problems import CONSTRAINT, MALFORMED, ProblemError
from loopmargin_service.questions import constraints
from loopmargin_service.questions.refusals import Fault

# Beyond this a float no longer tells neighbouring whole numbers apart.
LARGEST_EXACT = 2.0**53
UNREADABLE = (msgspec.DecodeError, UnicodeDecodeError, RecursionError, ValueError, TypeError)
T = TypeVar("T", bound=Struct)


class Reader(Generic[T]):
    """The decoders of one question, prepared once."""

    def __init__(self, question: type[T]) -> None:
        self._question = question
        self._json = msgspec.json.Decoder(question)
        self._msgpack = msgspec.msgpack.Decoder(question)
        self._type = inspect.type_info(question)
        # Built for its refusal of types that the walk does not know.
        self.expected = constraints.expected(self._type)

    def read(self, body: bytes, media: Media) -> T:
        """Decode a body or refuse it, naming up to 32 faults."""
        if not body:
            raise ProblemError(MALFORMED, "The body is empty; send a question.")
        try:
            question = self._decode(body, media)
            _refuse_doubled(_doubled(body, media))
        except msgspec.ValidationError as error:
            return self._second_look(body, media, str(error))
        except UNREADABLE as error:
            raise _unreadable(error) from None
        return question

    def _decode(self, body: bytes, media: Media) -> T:
        if media is Media.JSON:
            return self._json.decode(body)
        return self._msgpack.decode(body)

    def _second_look(self, body: bytes, media: Media, first: str) -> T:
        """Collect every fault; without one, whole numbers were written as floats."""
        try:
            tree = _untyped(body, media)
            found = constraints.faults(tree, self._type)
        except UNREADABLE as error:
            raise _unreadable(error) from None
        if found:
            raise ProblemError(CONSTRAINT, _summary(found), faults=found)
        _refuse_doubled(_doubled(body, media))
        try:
            return msgspec.convert(_folded(tree), self._question)
        except msgspec.ValidationError:
            raise ProblemError(CONSTRAINT, first, faults=(Fault((), first),)) from None


def _untyped(body: bytes, media: Media) -> object:
    if media is Media.MSGPACK:
        return msgspec.msgpack.decode(body)
    with suppress(msgspec.ValidationError):
        # Stricter than the reader below, but it stops at a number beyond every float.
        msgspec.json.decode(body)
    return duplicates.tree(body.decode())


def _doubled(body: bytes, media: Media) -> duplicates.Path | None:
    return duplicates.in_json(body.decode()) if media is Media.JSON else duplicates.in_msgpack(body)


def _refuse_doubled(path: duplicates.Path | None) -> None:
    if path is None:
        return
    fault = Fault(path, f"The field {str(path[-1])[:100]!a} is given more than once; keep one.")
    raise ProblemError(MALFORMED, fault.detail, faults=(fault,))


def _unreadable(error: Exception) -> ProblemError:
    match error:
        case RecursionError():
            return ProblemError(MALFORMED, "The body is nested too deeply; no question needs that.")
        case UnicodeDecodeError():
            return ProblemError(
                MALFORMED, f"Byte {error.start} of a text is not UTF-8; encode the body as UTF-8."
            )
    return ProblemError(MALFORMED, f"Reading the body stopped: {ascii(str(error))[1:-1]}.")


def _summary(found: tuple[Fault, ...]) -> str:
    if len(found) == 1:
        return found[0].detail
    more = " or more" if len(found) == constraints.MOST_FAULTS else ""
    return f"{len(found)}{more} fields are at fault; errors names each."


def _folded(value: object) -> object:
    """Turn whole floats into integers, all through a tree; float fields take them back."""
    match value:
        case dict():
            return {key: _folded(member) for key, member in value.items()}
        case list():
            return [_folded(member) for member in value]
        case float() if value.is_integer() and abs(value) < LARGEST_EXACT:
            return int(value)
    return value
