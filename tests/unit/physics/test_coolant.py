"""Coolant properties: limits, order, and the same answer however it is asked."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from loopmargin_service.physics import coolant, water
from loopmargin_service.physics.glycol import TABLES, Glycol

GLYCOLS = st.sampled_from(sorted(TABLES))
FRACTIONS = st.floats(0.0, 0.6)
TEMPERATURES = st.floats(274.0, 368.0)


def row(fluid: coolant.Fluid, mass_fraction: float, temperature: float) -> list[float]:
    """All four properties at one state, one by one."""
    found = coolant.properties(fluid, mass_fraction, temperature)
    return [float(value) for value in found]


def test_quick_water_equals_the_printed_laws() -> None:
    """The interpolants are the laws, to 2e-8, from freezing to 110 degC."""
    temperature = np.linspace(273.15, 383.15, 500)
    laws = (water.density, water.viscosity, water.heat_capacity, water.conductivity)

    found = coolant.properties("water", 0.0, temperature)

    for law, values in zip(laws, found, strict=True):
        assert law(temperature) == pytest.approx(values, rel=2e-8)


@given(fluid=GLYCOLS, temperature=TEMPERATURES)
def test_no_glycol_is_water(fluid: Glycol, temperature: float) -> None:
    """A mass fraction of zero gives water, not the polynomials' idea of it."""
    assert row("water", 0.0, temperature) == pytest.approx(row(fluid, 0.0, temperature), rel=1e-12)


@given(fluid=GLYCOLS, temperature=TEMPERATURES, one=FRACTIONS, other=FRACTIONS)
def test_glycol_thickens_and_insulates(
    fluid: Glycol, temperature: float, one: float, other: float
) -> None:
    """More glycol is denser and thicker, holds less heat and conducts worse, without a dip."""
    thin, thick = (np.array(row(fluid, w, temperature)) for w in sorted((one, other)))

    slack = 1e-9 * thin
    assert np.all((thick - thin) * [1.0, 1.0, -1.0, -1.0] >= -slack)


@given(fluid=GLYCOLS, mass_fraction=FRACTIONS, temperature=TEMPERATURES)
def test_many_mixes_at_once_equal_one(
    fluid: Glycol, mass_fraction: float, temperature: float
) -> None:
    """The way for an array of mass fractions gives what the quick way gives for each."""
    fractions = np.array([mass_fraction, 0.02, 0.4])
    temperatures = np.array([[temperature] * 3, [300.0] * 3])

    found = np.array(coolant.properties(fluid, fractions, temperatures))

    assert found.shape == (4, 2, 3)
    assert row(fluid, mass_fraction, temperature) == pytest.approx(found[:, 0, 0].tolist())
    assert row(fluid, 0.02, 300.0) == pytest.approx(found[:, 1, 1].tolist())


def test_an_array_without_thin_mixes() -> None:
    """Where no mix is thin, water is not asked for, and the answer is the same."""
    found = np.array(coolant.properties("ethylene_glycol", np.array([0.3, 0.5]), 303.15))

    assert row("ethylene_glycol", 0.3, 303.15) == pytest.approx(found[:, 0].tolist())
    assert row("ethylene_glycol", 0.5, 303.15) == pytest.approx(found[:, 1].tolist())


@pytest.mark.parametrize("shape", [(), (1,), (3,), (2, 3)])
@pytest.mark.parametrize("fluid", ["water", "propylene_glycol"])
def test_shape_follows_the_temperature(fluid: coolant.Fluid, shape: tuple[int, ...]) -> None:
    """Each property has the shape of the temperature."""
    found = coolant.properties(fluid, 0.3, np.full(shape, 310.0))

    assert [shape] * 4 == [np.shape(value) for value in found]


@pytest.mark.parametrize("fluid", ["water", *TABLES])
@pytest.mark.parametrize("mass_fraction", [0.0, 0.03, 0.5])
def test_far_outside_is_held(fluid: coolant.Fluid, mass_fraction: float) -> None:
    """Absurd temperatures give the values at the ends, never an infinity."""
    found = np.array(coolant.properties(fluid, mass_fraction, [1.0, 215.0, 383.15, 2000.0]))

    assert np.all(np.isfinite(found))
    assert found[:, 0].tolist() == found[:, 1].tolist()
    assert found[:, 2].tolist() == found[:, 3].tolist()


@given(fluid=GLYCOLS, one=FRACTIONS, other=FRACTIONS)
def test_glycol_lowers_the_freezing_point(fluid: Glycol, one: float, other: float) -> None:
    """More glycol freezes later, and none freezes as water does."""
    thin, thick = sorted((one, other))

    warmer, colder = coolant.freezing_temperature(fluid, [thin, thick])

    assert 273.15 >= warmer >= colder
    assert coolant.freezing_temperature(fluid, 0.0) == 273.15


def test_water_freezes_at_its_freezing_point() -> None:
    """The mass fraction is not looked at for water."""
    assert coolant.freezing_temperature("water", 0.3) == coolant.TEMPERATURE_MIN_WATER


def test_vapour_pressure_reaches_the_atmosphere_at_boiling() -> None:
    """At 373.12 K water boils at 101325 Pa, and the hottest coolant is below."""
    assert coolant.saturation_pressure(373.1243) == pytest.approx(101325.0, rel=1e-5)
    assert coolant.saturation_pressure(coolant.TEMPERATURE_MAX) < 101325.0
