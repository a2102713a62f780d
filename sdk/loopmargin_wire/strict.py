"""The stem of every part of a question."""

from msgspec import Struct


class Part(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What every part of a question shares: unknown fields are refused."""
