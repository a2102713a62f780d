"""Screens and plates against an independent library and another handbook."""

import math

import numpy as np
import pytest
from fluids.filters import round_edge_screen, square_edge_screen

from loopmargin_service.physics import screen
from tests.published.printed import Independent

PLATE = Independent("fluids 1.3.1 `square_edge_screen`, table of Blevins", abs=1e-12)
WIRES = Independent("fluids 1.3.1 `round_edge_screen`, table of Blevins", rel=1e-9)
SHARP = Independent("Idelchik, diagram 8-1, thin sharp plate (from memory)", rel=0.10)

NODES = np.array([0.1, 0.15, 0.2, 0.25, 0.3, 0.35, 0.4, 0.45, 0.5, 0.55, 0.6, 0.65, 0.7, 0.75, 0.8])


@pytest.mark.law("screen.perforated_plate")
@pytest.mark.parametrize("fraction", [*NODES, 0.85, 0.9, 0.95, 1.0])
def test_rows_of_the_plate_table(fraction: float) -> None:
    """At each row the loss is Blevins's, by fluids 1.3.1 `square_edge_screen`."""
    PLATE.check(screen.perforated_plate(fraction), square_edge_screen(fraction))


@pytest.mark.parametrize("fraction", NODES[:-1] + 0.025)
def test_between_the_rows_of_the_plate_table(fraction: float) -> None:
    """Between rows the logarithm lies below the straight line of fluids 1.3.1, by at most 15 %."""
    straight = square_edge_screen(fraction)

    found = float(screen.perforated_plate(fraction))

    assert 0.85 * straight < found <= straight


@pytest.mark.law("screen.wire_screen")
@pytest.mark.parametrize("fraction", [0.2, 0.35, 0.5, 0.7, 0.8])
@pytest.mark.parametrize("reynolds", [5.0, 20.0, 35.0, 100.0, 250.0, 400.0, 1e4])
def test_round_wires(fraction: float, reynolds: float) -> None:
    """Equal to fluids 1.3.1 `round_edge_screen`, on the table and outside."""
    WIRES.check(screen.wire_screen(fraction, reynolds), round_edge_screen(fraction, reynolds))


@pytest.mark.law("screen.perforated_plate")
@pytest.mark.parametrize("fraction", [0.3, 0.4, 0.5, 0.6])
def test_plates_of_another_handbook(fraction: float) -> None:
    """Idelchik's thin sharp plate, diagram 8-1 (from memory), is within 10 %."""
    sharp = (0.707 * math.sqrt(1.0 - fraction) + 1.0 - fraction) ** 2 / fraction**2

    SHARP.check(screen.perforated_plate(fraction), sharp)


@pytest.mark.parametrize("fraction", [0.3, 0.5, 0.7, 0.9])
def test_wires_of_another_handbook(fraction: float) -> None:
    """Idelchik's round wires, diagram 8-6 (from memory), are up to 21 % above Re 400."""
    wires = 1.3 * (1.0 - fraction) + (1.0 / fraction - 1.0) ** 2

    assert 1.0 < wires / float(screen.wire_screen(fraction, 400.0)) < 1.22
