"""Air: order, limits and round trips; the prints are in tests/published."""

from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import ArrayLike, NDArray

from loopmargin_service.physics import air

Law = Callable[[ArrayLike], NDArray[np.float64]]

ROOMS = st.floats(274.0, 323.0)
HUMIDITIES = st.floats(0.05, 1.0)


def test_pressure_falls_with_altitude_and_is_held_above() -> None:
    """Higher is thinner, up to the end of the law at 11 km."""
    pressure = air.standard_pressure([-500.0, 0.0, 3000.0, 11000.0, 20000.0])

    assert np.all(np.diff(pressure)[:3] < 0.0)
    assert pressure[3] == pressure[4]
    assert pressure[1] == air.STANDARD_PRESSURE


@given(pressure=st.floats(5e4, 1.1e5), temperature=ROOMS)
def test_density_is_that_of_an_ideal_gas(pressure: float, temperature: float) -> None:
    """Pressure over density and temperature is the gas constant."""
    density = float(air.density(pressure, temperature))

    assert pytest.approx(pressure / density / temperature) == air.GAS_CONSTANT


@pytest.mark.parametrize("law", [air.viscosity, air.conductivity])
def test_transport_rises_with_temperature(law: Law) -> None:
    """Warm air is thicker and conducts better."""
    low, high = air.TEMPERATURE_RANGE

    assert np.all(np.diff(law(np.linspace(low, high, 50))) > 0.0)


@given(temperature=ROOMS)
def test_saturated_air_is_at_its_dew_point(temperature: float) -> None:
    """At a relative humidity of one the dew point is the temperature."""
    assert temperature == pytest.approx(float(air.dew_point(temperature, 1.0)))


@given(temperature=ROOMS, one=HUMIDITIES, other=HUMIDITIES)
def test_drier_air_has_a_lower_dew_point(temperature: float, one: float, other: float) -> None:
    """The dew point rises with humidity and never passes the temperature."""
    dry, moist = air.dew_point(temperature, sorted((one, other)))

    assert dry <= moist <= temperature + 1e-9


def test_bone_dry_air_has_a_finite_dew_point() -> None:
    """No humidity at all counts as one percent."""
    assert air.dew_point(298.15, 0.0) == air.dew_point(298.15, 0.01)
