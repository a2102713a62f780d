"""The name of an answer: a hash over the question's name, the edition and the question.

Two bodies that decode to the same question share it, whatever their encoding, field
order, whitespace or spelled-out defaults; an edition with other numbers never does.
"""

from hashlib import blake2b
from typing import TypeVar

import msgspec
from msgspec import Struct

DIGEST_BYTES = 20
PATTERN = rf"^[0-9a-f]{{{2 * DIGEST_BYTES}}}$"
T = TypeVar("T", bound=Struct)

_ENCODER = msgspec.json.Encoder(order="deterministic")


def canonical(question: T) -> tuple[T, bytes]:
    """Return the question with every -0.0 made 0.0, and its one spelling as bytes."""
    spelled = _ENCODER.encode(question)
    if b"-0.0" not in spelled:
        return question, spelled
    folded = msgspec.convert(_unsigned_zero(msgspec.to_builtins(question)), type(question))
    return folded, _ENCODER.encode(folded)


def digest(name: str, edition: str, spelled: bytes) -> str:
    """Hash name, edition and canonical question; the first two never hold a line end."""
    return blake2b(f"{name}\n{edition}\n".encode() + spelled, digest_size=DIGEST_BYTES).hexdigest()


def _unsigned_zero(value: object) -> object:
    match value:
        case dict():
            return {name: _unsigned_zero(member) for name, member in value.items()}
        case list() | tuple():
            return [_unsigned_zero(member) for member in value]
        case float():
            return value + 0.0
    return value
