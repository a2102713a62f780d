"""The printed laws of water: shape and limits; the prints are in tests/published."""

import numpy as np
import pytest

from loopmargin_service.physics import water

LIQUID = np.linspace(273.15, 368.15, 96)


def test_density_has_its_maximum_at_four_degrees() -> None:
    """The densest water is at 277.13 K, as everyone knows."""
    temperature = np.linspace(273.15, 283.15, 10001)

    densest = temperature[np.argmax(water.density(temperature))]

    assert densest == pytest.approx(277.13, abs=0.01)


def test_viscosity_falls_and_conductivity_rises() -> None:
    """Warmer water is thinner and conducts better."""
    assert np.all(np.diff(water.viscosity(LIQUID)) < 0.0)
    assert np.all(np.diff(water.conductivity(LIQUID)) > 0.0)


def test_heat_capacity_is_nearly_constant() -> None:
    """From freezing to 95 degC the heat capacity moves by less than 1 %."""
    heat = water.heat_capacity(LIQUID)

    assert np.ptp(heat) < 0.01 * heat.mean()


def test_vapour_pressure_above_the_critical_point_is_held() -> None:
    """Above the critical temperature there is no vapour pressure; the critical one stays."""
    found = water.saturation_pressure(np.array([647.096, 700.0]))

    assert np.all(found == 22.064e6)
