"""What was compared with what, noted while the tests of this folder run."""

from collections.abc import Iterable
from typing import NamedTuple

# A tolerance below this share of the value is as fine as rounding on another machine may be.
FINEST = 1e-9


class Row(NamedTuple):
    """Values of one source held against one law, and the largest deviation over its tolerance.

    There is no such share where every tolerance is as fine as rounding.
    """

    law: str
    kind: str
    where: str
    count: int
    worst: float | None


class Register:
    """The rows of one session, and the laws that the running test is of."""

    def __init__(self) -> None:
        self.laws: tuple[str, ...] = ()
        self.rows: list[Row] = []

    def note(
        self,
        kind: str,
        where: str,
        law: str | None,
        deviations: Iterable[float],
        allowed: Iterable[float],
        values: Iterable[float],
    ) -> None:
        """Note a comparison under the law it is of."""
        compared = list(zip(deviations, allowed, values, strict=True))
        worst = max((float(d / a) for d, a, v in compared if a > FINEST * v), default=None)
        self.rows.append(Row(self._law(law), kind, where, len(compared), worst))

    def _law(self, law: str | None) -> str:
        if law is not None:
            assert law in self.laws, f"{law} is not among the laws that the test is marked with"
            return law
        assert len(self.laws) == 1, "mark the test with its law, or name one of several in `check`"
        return self.laws[0]


register = Register()
