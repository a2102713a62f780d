"""Units of the wire in SI, and back."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from loopmargin_service.questions.conversion import (
    CM2,
    INCH,
    KPA,
    L_PER_MIN,
    M3_PER_H,
    MINUTE,
    ML,
    MM,
    UM,
    celsius,
    kelvin,
    out,
    radians,
)


@pytest.mark.parametrize(
    ("value", "unit", "expected"),
    [
        (60.0, L_PER_MIN, 1e-3),
        (3600.0, M3_PER_H, 1.0),
        (1000.0, MM, 1.0),
        (1e6, UM, 1.0),
        (1e4, CM2, 1.0),
        (101.325, KPA, 101325.0),
        (10.0, INCH, 0.254),
    ],
)
def test_units_in_si(value: float, unit: float, expected: float) -> None:
    """A litre per minute is a sixtieth of a litre per second, and so on."""
    assert expected == pytest.approx(value * unit, rel=1e-15)
    assert value == pytest.approx(out(expected, unit), rel=1e-15)


def test_zero_celsius() -> None:
    """The scales are 273.15 K apart, which is exact by definition (SI Brochure, 9th edition)."""
    assert kelvin(0.0) == 273.15
    assert celsius(273.15) == 0.0
    assert np.array_equal(kelvin(np.array([-273.15, 26.85])), [0.0, 300.0])


def test_half_a_turn() -> None:
    """180 degrees are pi."""
    assert math.pi == pytest.approx(radians(180.0))


def test_what_goes_out_is_a_plain_float() -> None:
    """A number of numpy would be another type on the wire."""
    assert [float, float] == [type(out(np.float64(2.0), KPA)), type(celsius(np.float64(300.0)))]


UNITS = st.sampled_from([CM2, INCH, KPA, L_PER_MIN, M3_PER_H, MINUTE, ML, MM, UM])


@settings(derandomize=True)
@given(value=st.floats(-1e9, 1e9), unit=UNITS, degrees=st.floats(-273.15, 1000.0))
def test_what_came_in_goes_out(value: float, unit: float, degrees: float) -> None:
    """Any number comes back through SI within the last digits, and so does any temperature."""
    assert out(value * unit, unit) == pytest.approx(value, rel=1e-15)
    assert celsius(kelvin(degrees)) == pytest.approx(degrees, abs=1e-12)


def test_units_agree_with_each_other() -> None:
    """A litre in a minute is a thousand millilitres in sixty seconds, and so on."""
    assert pytest.approx(1000.0 * ML / MINUTE, rel=1e-15) == L_PER_MIN
    assert pytest.approx(60.0 * M3_PER_H, rel=1e-15) == 1000.0 * L_PER_MIN
    assert pytest.approx((10.0 * MM) ** 2, rel=1e-15) == CM2
    assert pytest.approx(25.4 * MM, rel=1e-15) == INCH
    assert pytest.approx(1000.0 * UM, rel=1e-15) == MM
