"""From a question to its answer as JSON, in whichever process."""

from collections.abc import Callable
from functools import cache
from typing import TypeVar

import msgspec

from loopmargin_wire.answer import Answer, Question

Q = TypeVar("Q", bound=Question)
A = TypeVar("A", bound=Answer)


def answered(compute: Callable[[Q], A], kind: type[A], question: Q) -> bytes:
    """Compute and encode an answer, having checked it against every limit that is published.

    A number that is not finite is inside no limits, so it stops here and never leaves as null;
    that is a bug, and is answered as one.
    """
    answer = compute(question)
    _check(kind).decode(msgspec.msgpack.encode(answer))
    return msgspec.json.encode(answer)


@cache
def _check(kind: type[A]) -> msgspec.msgpack.Decoder[A]:
    return msgspec.msgpack.Decoder(kind)
