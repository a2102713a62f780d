"""Random states of air and water, levels of sound, wires: order, bounds, balance, scale."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from loopmargin_service.physics import air, coolant, heat_store, sound, water, wire

MANY = settings(derandomize=True, max_examples=100)
LIQUID = st.floats(273.16, 373.0)
ROOM_AIR = st.floats(253.0, 352.0)
LEVELS = st.floats(-10.0, 110.0)
STEP = st.floats(0.01, 20.0)


@MANY
@given(altitude=st.floats(-1000.0, 10_990.0))
def test_the_atmosphere_carries_itself(altitude: float) -> None:
    """A metre of height takes off the weight of a metre of air, -dp/dh = p g / (R T).

    The gas constant and the lapse of the temperature are those of ISO 2533.
    """
    below, above = air.standard_pressure([altitude - 0.5, altitude + 0.5])
    weight = 9.80665 * 0.0289644 / (8.31432 * (288.15 - 0.0065 * altitude))

    assert below - above == pytest.approx(weight * float(air.standard_pressure(altitude)), rel=1e-6)


@MANY
@given(temperature=ROOM_AIR, step=st.floats(0.01, 1.0))
def test_warm_air_is_thicker_and_conducts_more(temperature: float, step: float) -> None:
    """Both rise together, as in a gas: the Prandtl number stays within 0.69 to 0.73.

    Incropera et al., table A.4, prints 0.720 at 250 K and 0.700 at 350 K (from memory).
    """
    for law in (air.viscosity, air.conductivity):
        assert law(temperature + step) > law(temperature) > 0.0
    prandtl = air.viscosity(temperature) * air.HEAT_CAPACITY / air.conductivity(temperature)
    assert 0.69 < prandtl < 0.73


@MANY
@given(temperature=LIQUID, step=STEP)
def test_warm_water_thins_conducts_and_evaporates(temperature: float, step: float) -> None:
    """Viscosity falls, conductivity and vapour pressure rise, from 0 to 100 degC."""
    colder, warmer = np.array([temperature]), np.array([min(temperature + step, 373.15)])

    assert water.viscosity(warmer) < water.viscosity(colder)
    assert water.conductivity(warmer) > water.conductivity(colder)
    assert coolant.saturation_pressure(warmer) > coolant.saturation_pressure(colder) > 0.0
    assert 4170.0 < water.heat_capacity(warmer) < 4230.0


@MANY
@given(temperature=st.floats(273.16, 372.0), step=st.floats(0.1, 1.0))
def test_water_is_densest_at_four_degrees(temperature: float, step: float) -> None:
    """It shrinks up to 277.13 K and swells beyond (the maximum of IAPWS SR6-08)."""
    apart = temperature if temperature > 277.2 else min(temperature, 277.1 - step)
    colder, warmer = water.density(np.array([apart, apart + step]))

    assert (warmer < colder) == (apart > 277.2)
    assert 957.0 < warmer < 1000.0


@MANY
@given(temperature=LIQUID)
def test_vapour_pressure_rises_with_the_heat_of_evaporation(temperature: float) -> None:
    """R T^2 dlnp/dT is the heat of evaporation over the share of an ideal gas, to 2 %.

    2501 kJ/kg at 0 degC and 2256 kJ/kg at 100 degC (steam tables, from memory), in between
    nearly a line.
    """
    low, high = water.saturation_pressure(np.array([temperature - 0.01, temperature + 0.01]))
    found = 461.526 * temperature**2 * np.log(high / low) / 0.02
    line = 2501e3 - 2450.0 * (temperature - 273.15)

    assert found == pytest.approx(line, rel=0.02)


@MANY
@given(masses=st.lists(st.floats(0.0, 5.0), min_size=6, max_size=6))
def test_metals_add_up(masses: list[float]) -> None:
    """Two lots of metal store what each of them stores."""
    first, second = masses[:3], masses[3:]
    both = [sum(pair) for pair in zip(first, second, strict=True)]

    assert heat_store.metal(*both) == pytest.approx(
        heat_store.metal(*first) + heat_store.metal(*second), rel=1e-12
    )


@MANY
@given(band=st.integers(-20, 30))
def test_ten_octaves_are_a_thousand(band: int) -> None:
    """In the base-ten system, with three thirds to the octave and rising."""
    assert sound.octave_frequency(band + 10) == pytest.approx(
        1000.0 * sound.octave_frequency(band), rel=1e-12
    )
    assert sound.third_octave_frequency(3 * band) == pytest.approx(sound.octave_frequency(band))
    assert sound.third_octave_frequency(band + 1) > sound.third_octave_frequency(band)


@MANY
@given(frequency=st.floats(10.0, 2000.0), ratio=st.floats(1.001, 1.2))
def test_the_ear_hears_low_notes_worse(frequency: float, ratio: float) -> None:
    """The weight rises up to 2.4 kHz, and nowhere amplifies by more than 1.3 dB."""
    assert sound.a_weight(frequency) < sound.a_weight(frequency * ratio) < 1.3
    assert sound.a_weight(10.0 * frequency) < 1.3


@MANY
@given(
    bands=st.lists(LEVELS, min_size=8, max_size=8),
    more=st.floats(0.0, 30.0),
    order=st.permutations(range(8)),
)
def test_a_spectrum_shifts_and_shuffles(bands: list[float], more: float, order: list[int]) -> None:
    """All bands louder by x are x louder together, in any order, and no less than the loudest."""
    frequencies = sound.octave_frequency(np.arange(8) + sound.LOWEST_OCTAVE)
    spectrum = np.array(bands)
    level = float(sound.a_weighted_level(spectrum, frequencies))

    assert sound.a_weighted_level(spectrum + more, frequencies) == pytest.approx(level + more)
    assert sound.a_weighted_level(spectrum[order], frequencies[order]) == pytest.approx(level)
    assert level >= (spectrum + sound.a_weight(frequencies)).max() - 1e-9


@MANY
@given(level=LEVELS, count=st.integers(1, 30))
def test_equal_sources_are_their_sum(level: float, count: int) -> None:
    """The shortcut for fans side by side is the sum of levels."""
    assert sound.level_sum(np.full(count, level)) == pytest.approx(
        level + float(sound.equal_sources(count)), abs=1e-9
    )


@MANY
@given(first=st.floats(0.3, 1.5), second=st.floats(0.3, 1.5), slope=st.floats(20.0, 70.0))
def test_changes_of_speed_and_density_add_up(first: float, second: float, slope: float) -> None:
    """Two steps of speed are one step by their product; the same holds for the density."""
    assert sound.speed_change(first * second, slope) == pytest.approx(
        float(sound.speed_change(first, slope) + sound.speed_change(second, slope)), abs=1e-9
    )
    changes = sound.density_change(sound.REFERENCE_DENSITY * np.array([first, 1.0 / first, 1.0]))
    assert changes[0] == pytest.approx(-changes[1], abs=1e-9)
    assert changes[2] == 0.0


@MANY
@given(power=LEVELS, distance=st.floats(0.1, 30.0), open_to=st.sampled_from([1.0, 2.0, 4.0]))
def test_sound_is_neither_lost_nor_made_on_its_way(
    power: float, distance: float, open_to: float
) -> None:
    """Intensity times the part of the sphere that is open gives the power back."""
    level = float(sound.radiated_level(power, distance, open_to))
    sphere = 4.0 * np.pi * distance**2 / open_to

    assert level + 10.0 * np.log10(sphere) == pytest.approx(power, abs=1e-9)


@MANY
@given(machine=LEVELS, apart=st.floats(5.0, 14.5))
def test_what_the_background_adds_is_taken_off(machine: float, apart: float) -> None:
    """Measured with a background and corrected for it, the machine's own level comes back."""
    background = machine - apart
    measured = float(sound.level_sum(np.array([machine, background])))

    corrected = measured - float(sound.background_correction(measured - background))
    assert corrected == pytest.approx(machine, abs=1e-9)


@MANY
@given(gauge=st.integers(-3, 40), temperature=st.floats(253.0, 423.0), more=st.floats(0.1, 50.0))
def test_wires_of_all_gauges_are_one_copper(gauge: int, temperature: float, more: float) -> None:
    """Resistance times section is the same at every gauge; thinner and hotter resist more."""
    resistance = wire.resistance_per_length(gauge, temperature)
    thick = wire.resistance_per_length(0, temperature) * wire.diameter(0) ** 2

    assert resistance * wire.diameter(gauge) ** 2 == pytest.approx(float(thick), rel=1e-12)
    assert wire.diameter(gauge) == pytest.approx(92.0 * float(wire.diameter(gauge + 39)))
    assert wire.resistance_per_length(gauge, temperature + more) > resistance > 0.0
