"""Screens and plates: order, ends and shape; the tables are in tests/published."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from loopmargin_service.physics import screen

FRACTIONS = st.floats(0.05, 1.0)


@given(one=FRACTIONS, other=FRACTIONS)
def test_more_open_loses_less(one: float, other: float) -> None:
    """Neither a plate nor a screen loses more when it is more open."""
    closed, opened = sorted((one, other))

    for law in (screen.perforated_plate, lambda f: screen.wire_screen(f, 100.0)):
        assert float(law(closed)) >= float(law(opened))


@given(fraction=st.floats(0.05, 0.95), one=st.floats(1.0, 1e4), other=st.floats(1.0, 1e4))
def test_faster_air_loses_fewer_heads(fraction: float, one: float, other: float) -> None:
    """The loss coefficient of wires never rises with the Reynolds number."""
    slow, fast = screen.wire_screen(fraction, sorted((one, other)))

    assert slow >= fast


def test_nothing_in_the_way_loses_nothing() -> None:
    """Fully open is no loss."""
    assert float(screen.perforated_plate(1.0)) == 0.0
    assert float(screen.wire_screen(1.0, 100.0)) == 0.0


@pytest.mark.parametrize("fraction", [-1.0, 0.0, 0.01])
def test_nearly_closed_is_held(fraction: float) -> None:
    """Below the tables the value at their end is held, and finite."""
    assert float(screen.perforated_plate(fraction)) == pytest.approx(1000.0)
    assert float(screen.wire_screen(fraction, 400.0)) == pytest.approx(0.52 * 399.0)


def test_broadcasts() -> None:
    """Fractions and Reynolds numbers broadcast."""
    found = screen.wire_screen(np.array([[0.3], [0.5]]), np.array([30.0, 100.0, 300.0]))

    assert found.shape == (2, 3)
