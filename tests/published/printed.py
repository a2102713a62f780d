"""One row of a published table, or of an independent calculation, held against a law."""

from decimal import Decimal
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from tests.published.register import register


class Printed(NamedTuple):
    """A printed value; the tolerance is half a unit of its last place unless `why` says more."""

    where: str
    printed: str
    unit: str
    tolerance: float | None = None
    why: str = ""

    @property
    def allowed(self) -> float:
        """Absolute tolerance in the printed unit."""
        if self.tolerance is not None:
            assert self.why, f"{self.where}: a wider tolerance needs its reason"
            return self.tolerance
        exponent = Decimal(self.printed).as_tuple().exponent
        assert isinstance(exponent, int)
        return 0.5 * 10.0**exponent

    def check(self, computed: float, law: str | None = None) -> None:
        """Compare a computed value, in the printed unit, with the print.

        The law is named where the test is of several.
        """
        value = float(self.printed)
        deviation = abs(float(computed) - value)
        register.note("printed", self.where, law, [deviation], [self.allowed], [abs(value)])
        assert deviation <= self.allowed * (1 + 1e-9), (
            f"{self.where}: printed {self.printed} {self.unit}, computed {computed!r}, "
            f"off by {deviation:.3g}, allowed {self.allowed:.3g} {self.why}"
        )


class Independent(NamedTuple):
    """Another way to the same numbers: a library with its version, a closed form, a solver."""

    where: str
    rel: float = 0.0
    abs: float = 0.0

    def check(self, computed: ArrayLike, expected: ArrayLike, law: str | None = None) -> None:
        """Compare computed values with the independent ones, in which tolerances are stated."""
        found, wanted = np.broadcast_arrays(
            np.asarray(computed, dtype=np.float64), np.asarray(expected, dtype=np.float64)
        )
        deviation = np.abs(found - wanted).ravel()
        allowed = np.maximum(self.rel * np.abs(wanted), self.abs).ravel()
        register.note("independent", self.where, law, deviation, allowed, np.abs(wanted).ravel())
        assert found.size > 0
        assert (deviation <= allowed).all(), (
            f"{self.where}: computed {found.tolist()}, expected {wanted.tolist()}, "
            f"off by up to {deviation.max():.3g}"
        )
