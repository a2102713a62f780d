"""Effectiveness of exchangers against textbook examples and an independent library."""

import ht
import numpy as np
import pytest

from loopmargin_service.physics import exchanger
from tests.published.printed import Independent, Printed

pytestmark = pytest.mark.law("exchanger.effectiveness_crossflow_unmixed")

HOLMAN = "J. P. Holman, Heat Transfer, 10th ed., example 10-9, as in the documentation of ht"
INCROPERA = (
    "F. P. Incropera et al., Fundamentals of Heat and Mass Transfer, example 11.3, from memory"
)
CHART = "the book reads NTU off a chart"
SUBTYPES = {
    "crossflow": "effectiveness_crossflow_unmixed",
    "counterflow": "effectiveness_counterflow",
    "crossflow, mixed Cmax": "effectiveness_cmax_mixed",
    "crossflow, mixed Cmin": "effectiveness_cmin_mixed",
}
HT = Independent("ht 1.2.0 `effectiveness_from_NTU`", rel=2e-7)
APPROXIMATE = Independent("the approximate law of textbooks, by ht 1.2.0", rel=0.039)
INVERSE = Independent("ht 1.2.0 `NTU_from_effectiveness`", rel=1e-6)
TWO_OF_HT = Independent("two crossflow exchangers of ht 1.2.0 in series", rel=1e-6)
MARCHED = Independent("the equations marched over 400 x 400 cells", abs=1e-5)
TRANSFER_UNITS = (0.05, 0.5, 1.0, 1.9, 3.0, 5.0, 10.0, 30.0)
RATIOS = (0.02, 0.25, 0.33, 0.5, 0.7, 0.999, 1.0)


@pytest.mark.law(*(f"exchanger.{name}" for name in SUBTYPES.values()))
@pytest.mark.parametrize("ntu", TRANSFER_UNITS)
@pytest.mark.parametrize("ratio", RATIOS)
@pytest.mark.parametrize("subtype", SUBTYPES)
def test_equal_to_ht(ntu: float, ratio: float, subtype: str) -> None:
    """Every arrangement equals ht 1.2.0; for crossflow that is an integral, here a series."""
    expected = ht.effectiveness_from_NTU(ntu, ratio, subtype)

    name = SUBTYPES[subtype]
    HT.check(getattr(exchanger, name)(ntu, ratio), expected, f"exchanger.{name}")


@pytest.mark.parametrize("ntu", TRANSFER_UNITS[1:-2])
@pytest.mark.parametrize("ratio", RATIOS)
def test_near_the_approximate_law(ntu: float, ratio: float) -> None:
    """The approximate law that textbooks print, by ht 1.2.0, is at most 3.9 % away."""
    approximate = ht.effectiveness_from_NTU(ntu, ratio, "crossflow approximate")

    APPROXIMATE.check(exchanger.effectiveness_crossflow_unmixed(ntu, ratio), approximate)


@pytest.mark.law("exchanger.effectiveness_cmax_mixed")
def test_example_of_holman() -> None:
    """The printed oil heater has the printed effectiveness."""
    effectiveness = exchanger.effectiveness_cmax_mixed(2.16007259528, 0.1424214226633)

    Printed(HOLMAN, "0.831218036142", "1").check(float(effectiveness))


@pytest.mark.law("exchanger.ntu_crossflow_unmixed")
def test_example_of_incropera() -> None:
    """The printed gas-to-water exchanger needs the printed transfer units and area."""
    water = 1.0 * 4197.0
    heat = water * (125.0 - 35.0)
    gas = heat / (300.0 - 100.0)
    effectiveness = heat / (gas * (300.0 - 35.0))

    ntu = float(exchanger.ntu_crossflow_unmixed(effectiveness, gas / water))

    Printed(INCROPERA, "0.45", "1").check(gas / water)
    Printed(INCROPERA, "0.755", "1").check(effectiveness)
    Printed(INCROPERA, "2.1", "1").check(ntu)
    Printed(INCROPERA, "39.7", "m2", 0.02 * 39.7, CHART).check(ntu * gas / 100.0)


@pytest.mark.law("exchanger.ntu_crossflow_unmixed")
@pytest.mark.parametrize(("effectiveness", "ratio"), [(0.75, 0.35), (0.60, 0.70), (0.3, 1.0)])
def test_inverse_equal_to_ht(effectiveness: float, ratio: float) -> None:
    """The transfer units equal those of ht 1.2.0."""
    expected = ht.NTU_from_effectiveness(effectiveness, ratio, "crossflow")

    INVERSE.check(exchanger.ntu_crossflow_unmixed(effectiveness, ratio), expected)


@pytest.mark.law("exchanger.inlet_conductance")
@pytest.mark.parametrize("liquid", [20.0, 69.0, 139.0, 278.0])
def test_two_passes_equal_two_exchangers(liquid: float) -> None:
    """A U flow equals two crossflow exchangers of ht 1.2.0, the second fed by the first."""
    ua, air, hot, cold = 90.0, 46.6, 60.0, 25.0
    weaker, stronger = sorted((air / 2, liquid))
    effectiveness = ht.effectiveness_from_NTU(ua / 2 / weaker, weaker / stronger, "crossflow")
    first = effectiveness * weaker * (hot - cold)
    second = effectiveness * weaker * (hot - first / liquid - cold)

    expected = (first + second) / (hot - cold)

    TWO_OF_HT.check(exchanger.inlet_conductance(ua, air, liquid, 2), expected)


@pytest.mark.parametrize("ntu", [0.5, 1.9, 4.0])
@pytest.mark.parametrize("ratio", [0.2, 0.6, 1.0])
def test_equal_to_the_equations_integrated(ntu: float, ratio: float) -> None:
    """Marching both streams through a fine grid of cells ends at the same effectiveness."""
    cells = 400
    strip, row = np.ones(cells), np.zeros(cells)
    weak_step, strong_step = ntu / cells, ntu * ratio / cells
    out = np.empty(cells)
    for i in range(cells):
        hot = strip[i]
        for j in range(cells):
            # Trapezoidal rule over one cell, solved for the two leaving temperatures.
            difference = (hot - row[j]) / (1.0 + 0.5 * (weak_step + strong_step))
            hot -= weak_step * difference
            row[j] += strong_step * difference
        out[i] = hot

    MARCHED.check(exchanger.effectiveness_crossflow_unmixed(ntu, ratio), 1.0 - out.mean())
