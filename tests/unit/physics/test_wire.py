"""Copper wire: steps of the gauge and warming."""

import numpy as np
import pytest

from loopmargin_service.physics.wire import diameter, resistance_per_length


def test_six_gauges_halve_the_diameter_and_three_double_the_resistance() -> None:
    """The rules of thumb of the trade follow from the series to their known accuracy."""
    assert float(diameter(14) / diameter(20)) == pytest.approx(2.005, abs=5e-4)
    ratio = resistance_per_length(17, 293.15) / resistance_per_length(14, 293.15)
    assert float(ratio) == pytest.approx(2.005, abs=5e-4)


@pytest.mark.parametrize(
    ("gauge", "celsius", "expected"),
    [(16, 40, 14.2097), (16, 80, 16.2807), (18, 60, 24.2408), (24, 80, 104.0707)],
)
def test_warm_copper(gauge: int, celsius: float, expected: float) -> None:
    """Own digits of warm wires in mohm/m, worked out apart from this code."""
    resistance = 1e3 * float(resistance_per_length(gauge, celsius + 273.15))
    assert expected == pytest.approx(resistance, abs=6e-5)


def test_resistance_broadcasts() -> None:
    """Gauges along one axis and temperatures along another give a table."""
    table = resistance_per_length(np.array([[16], [18]]), np.array([293.15, 333.15, 353.15]))

    assert table.shape == (2, 3)
    assert (np.diff(table, axis=0) > 0.0).all()
    assert (np.diff(table, axis=1) > 0.0).all()
