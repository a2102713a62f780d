"""Cases drawn at random from stated uncertainties: the one mechanism behind every question.

A cause is one uncertain thing. Each has standard normal numbers of its own, made from the seed
and its name alone: more draws add to fewer, another cause disturbs none, and two questions with
one seed share what is wrong in both. A relative cause acts as a lognormal factor about one,
which stays positive; one with a unit as a normal offset (JCGM 101:2008, 6.4; the normal numbers
also carry the linear method and the budget, see `spreads`).
"""

from collections.abc import Iterable, Sequence
from functools import lru_cache
from hashlib import blake2b
from typing import Any, NamedTuple

import msgspec
import numpy as np

from loopmargin_service.physics.network import Array
from loopmargin_wire.answer import Question
from loopmargin_wire.uncertainty import Drawing

SEED_BYTES = 16
# What does not change the cases: how many are drawn, and how the answer judges them.
ASIDE = {"draws", "seed", "confidence"}
# Rows of normal numbers that neighbours of a case draw again; of the longest 16 MB.
ROWS_KEPT = 100


class Cause(NamedTuple):
    """One uncertain thing: standard uncertainty, relative or in a unit, and on what ground.

    `law` says that it is of the form of a law, not of what the question states.
    """

    name: str
    uncertainty: float
    source: str
    law: bool = False
    unit: str = "1"


class Draws(NamedTuple):
    """Standard normal numbers of every cause that is not certain, (causes, draws)."""

    seed: str
    causes: tuple[Cause, ...]
    normal: Array

    @property
    def size(self) -> int:
        """Number of draws."""
        return int(self.normal.shape[1])

    def some(self, part: slice) -> "Draws":
        """Give some of the draws."""
        return self._replace(normal=self.normal[:, part])

    def factor(self, name: str) -> Array | float:
        """Give the factors of a relative cause, one for every draw; one when it is certain. [-]"""
        cause, normal = self._row(name)
        if cause is None:
            return 1.0
        return np.asarray(np.exp(np.sqrt(np.log1p(cause.uncertainty**2)) * normal))

    def offset(self, name: str) -> Array | float:
        """Give the offsets of a cause in its unit, one for every draw; zero when it is certain."""
        cause, normal = self._row(name)
        return 0.0 if cause is None else np.asarray(cause.uncertainty * normal)

    def factors(self, names: Sequence[str]) -> Array:
        """Give the factors of several causes as rows, (names, draws). [-]"""
        rows = [np.broadcast_to(self.factor(name), self.size) for name in names]
        return np.asarray(rows, dtype=np.float64).reshape(len(names), self.size)

    def _row(self, name: str) -> tuple[Cause | None, Array]:
        for cause, normal in zip(self.causes, self.normal, strict=True):
            if cause.name == name:
                return cause, normal
        return None, self.normal[:0]


def draw(question: Question, asked: Drawing, causes: Iterable[Cause]) -> Draws:
    """Draw every cause of a question; the same question draws the same on every replica."""
    seed = asked.seed or seed_of(question)
    uncertain = tuple(cause for cause in causes if cause.uncertainty > 0.0)
    rows = [_normals(seed, cause.name, asked.draws) for cause in uncertain]
    normal = np.array(rows, dtype=np.float64).reshape(len(uncertain), asked.draws)
    return Draws(seed, uncertain, normal)


@lru_cache(maxsize=ROWS_KEPT)
def _normals(seed: str, name: str, count: int) -> Array:
    """Give standard normal numbers that follow from a seed and a name; not to be written to."""
    key = blake2b(name.encode(), digest_size=SEED_BYTES, key=bytes.fromhex(seed)).digest()
    random = np.random.Generator(np.random.Philox(key=int.from_bytes(key, "big")))
    row = random.standard_normal(count)
    row.setflags(write=False)
    return row


def seed_of(question: Question) -> str:
    """Give a seed that follows from what a question says beyond the defaults.

    A field that a later edition adds leaves the seeds of questions that do not use it alone.
    """
    spelled = msgspec.json.encode(_said(question), order="deterministic")
    return blake2b(spelled, digest_size=SEED_BYTES).hexdigest()


def _said(value: Any) -> Any:  # noqa: ANN401 - a question holds anything that the wire can
    """Leave out of a nest of structs what is at its default."""
    if isinstance(value, msgspec.Struct):
        fields = [(name, getattr(value, name), old) for name, old in _fields(type(value))]
        said = {
            name: _said(member)
            for name, member, old in fields
            if name not in ASIDE and member != old and _said(member) != _said(old)
        }
        return {"": type(value).__name__, **said}
    if isinstance(value, tuple):
        return [_said(member) for member in value]
    return value


@lru_cache(maxsize=256)
def _fields(kind: type[msgspec.Struct]) -> tuple[tuple[str, Any], ...]:
    """Give the fields of a struct with their defaults."""
    return tuple((field.name, field.default) for field in msgspec.structs.fields(kind))
