"""Printed least efficiencies of the public 80-percent programme, internal, non-redundant.

P: public explainer pages of the programme, 115 V. Silver at full load is printed there as
   87 %, above both its neighbours' pattern; 85 % is from memory.
M: 230 V European set, all from memory.
"""

import numpy as np
import pytest

from loopmargin_service.physics.efficiency import (
    TIER_LOADS,
    TIERS_115_V,
    TIERS_230_V,
    efficiency,
    loss_polynomial,
    tier_loss,
)
from tests.published.printed import Printed

pytestmark = pytest.mark.law(
    "efficiency.tier_loss", "efficiency.efficiency", "efficiency.loss_polynomial"
)

PRINTED_115_V = {
    "base": ("80", "80", "80"),
    "bronze": ("82", "85", "82"),
    "silver": ("85", "88", "85"),
    "gold": ("87", "90", "87"),
    "platinum": ("90", "92", "89"),
    "titanium": ("90", "92", "94", "90"),
}
PRINTED_230_V = {
    "base": ("82", "85", "82"),
    "bronze": ("85", "88", "85"),
    "silver": ("87", "90", "87"),
    "gold": ("90", "92", "89"),
    "platinum": ("92", "94", "90"),
    "titanium": ("90", "94", "96", "94"),
}

ROWS = [
    (tiers[tier], load, Printed(f"{where}, {tier} at {load:.0%}", printed, "%", 1e-9, "exact"))
    for where, tiers, prints in (
        ("P, 115 V", TIERS_115_V, PRINTED_115_V),
        ("M (from memory), 230 V", TIERS_230_V, PRINTED_230_V),
    )
    for tier, values in prints.items()
    for load, printed in zip(TIER_LOADS[len(values)], values, strict=True)
]


@pytest.mark.parametrize(("tier", "load", "row"), ROWS)
def test_certified_points(tier: tuple[float, ...], load: float, row: Printed) -> None:
    """The curve of a tier passes through each of its certified points."""
    reached = float(100.0 * efficiency(load, tier_loss(load, tier)))
    row.check(reached, "efficiency.tier_loss")
    row.check(reached, "efficiency.efficiency")
    through = np.polynomial.polynomial.polyval(load, loss_polynomial(tier))
    row.check(float(100.0 * load / (load + through)), "efficiency.loss_polynomial")


def test_low_load_requirement() -> None:
    """At 2 % load no tier is taken to be worse than the 60 % that the guide requires."""
    row = Printed("Document 336521 rev. 2.0, low-load efficiency as reported, 2 %", "60", "%")
    row.check(
        float(100.0 * efficiency(0.02, tier_loss(0.02, TIERS_115_V["bronze"]))),
        "efficiency.tier_loss",
    )
