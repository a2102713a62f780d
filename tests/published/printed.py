"""One row of a published table: where it stands, and the value exactly as printed."""

from decimal import Decimal
from typing import NamedTuple


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

    def check(self, computed: float) -> None:
        """Compare a computed value, in the printed unit, with the print."""
        deviation = abs(float(computed) - float(self.printed))
        assert deviation <= self.allowed * (1 + 1e-9), (
            f"{self.where}: printed {self.printed} {self.unit}, computed {computed!r}, "
            f"off by {deviation:.3g}, allowed {self.allowed:.3g} {self.why}"
        )
