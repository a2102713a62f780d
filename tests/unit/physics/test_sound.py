"""Sound levels: sums, speed, distance, background and uncertainty."""

from random import Random

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from loopmargin_service.physics import sound

LEVELS = st.lists(st.floats(-50.0, 150.0), min_size=1, max_size=20)


def test_equal_levels_add_ten_times_the_logarithm_of_their_number() -> None:
    """Eight sources of 22 dB are 31.03 dB, by both ways."""
    together = sound.level_sum(np.full(8, 22.0))

    assert together == pytest.approx(31.030900)
    assert together == pytest.approx(22.0 + float(sound.equal_sources(8)))


@given(levels=LEVELS)
def test_sum_lies_between_the_loudest_and_that_many_of_it(levels: list[float]) -> None:
    """More sources are never quieter, and none counts for more than the loudest."""
    together = float(sound.level_sum(levels))

    assert max(levels) <= together <= max(levels) + 10.0 * np.log10(len(levels)) + 1e-9


@given(levels=LEVELS, order=st.randoms())
def test_order_of_sources_does_not_matter(levels: list[float], order: Random) -> None:
    """A shuffled list has the same sum."""
    shuffled = list(levels)
    order.shuffle(shuffled)

    assert float(sound.level_sum(shuffled)) == pytest.approx(float(sound.level_sum(levels)))


def test_unequal_levels() -> None:
    """30, 27 and 24 dB: 10 lg of 1000 + 501.19 + 251.19."""
    expected = 10.0 * np.log10(1000.0 + 10.0**2.7 + 10.0**2.4)

    assert sound.level_sum([30.0, 27.0, 24.0]) == pytest.approx(expected)


def test_sum_of_very_quiet_and_very_loud_stays_finite() -> None:
    """No power of ten overflows or vanishes."""
    assert sound.level_sum([4000.0, -4000.0]) == pytest.approx(4000.0)
    assert sound.level_sum([-4000.0, -4000.0]) == pytest.approx(-4000.0 + 3.0102999566)


def test_sum_runs_over_the_first_axis_or_the_named_one() -> None:
    """A batch behind the sources stays a batch."""
    levels = np.array([[30.0, 20.0, 10.0], [30.0, 20.0, 10.0]])

    np.testing.assert_allclose(sound.level_sum(levels), levels[0] + 10.0 * np.log10(2.0))
    assert sound.level_sum(levels, axis=1).shape == (2,)


@pytest.mark.parametrize(
    ("per_decade", "ratio", "change"),
    [
        (50.0, 2.0, 15.0515),
        (55.0, 2.0, 16.5566),
        (50.0, 0.8, -4.84550),
        (55.0, 0.8, -5.33005),
        (50.0, 1.1, 2.06963),
        (55.0, 1.1, 2.27660),
    ],
)
def test_speed(per_decade: float, ratio: float, change: float) -> None:
    """Exponent times the logarithm of the speed, worked out by hand."""
    assert sound.speed_change(ratio, per_decade) == pytest.approx(change, abs=1e-4)


def test_fifty_is_what_flow_and_pressure_give() -> None:
    """10 lg Q + 20 lg p of a fan at twice its speed: twice the flow, four times the pressure."""
    by_flow_and_pressure = 10.0 * np.log10(2.0) + 20.0 * np.log10(4.0)

    assert sound.speed_change(2.0, 50.0) == pytest.approx(by_flow_and_pressure)


def test_changes_of_speed_chain() -> None:
    """Two steps are one step of both together, and back again is nothing."""
    steps = sound.speed_change(np.array([0.7, 1.3, 0.91]), 55.0)

    assert steps[0] + steps[1] == pytest.approx(steps[2])
    assert sound.speed_change(1.0, 55.0) == 0.0


def test_thin_air_is_quieter() -> None:
    """A fifth less density is 1.94 dB less; the reference density changes nothing."""
    changes = sound.density_change(sound.REFERENCE_DENSITY * np.array([0.8, 1.0]))

    np.testing.assert_allclose(changes, [-1.93820, 0.0], atol=1e-5)


def test_distance() -> None:
    """Half, twice and three times a metre: +6.02, -6.02 and -9.54 dB."""
    levels = sound.radiated_level(0.0, np.array([0.5, 1.0, 2.0, 3.0]), 1.0)

    np.testing.assert_allclose(levels[[0, 2, 3]] - levels[1], [6.0206, -6.0206, -9.5424], atol=1e-4)


def test_energy_through_any_sphere_is_the_power() -> None:
    """Pressure squared times the area is the same at each distance."""
    distances = np.array([0.3, 1.0, 7.0])
    through = sound.radiated_level(60.0, distances, 2.0) + 10.0 * np.log10(
        2.0 * np.pi * distances**2
    )

    np.testing.assert_allclose(through, 60.0)


def test_background_is_taken_off_a_measured_level() -> None:
    """28.0 dB over a background of 22.0 dB leave 26.74 dB."""
    left = 28.0 - float(sound.background_correction(28.0 - 22.0))

    assert left == pytest.approx(26.743724)


def test_correction_undoes_a_sum_where_it_may() -> None:
    """Between 6 and 15 dB the correction gives back the level that was added."""
    machine, background = np.array([28.0, 32.0, 36.0]), 22.0
    measured = sound.level_sum(np.stack([machine, np.full(3, background)]))

    corrected = measured - sound.background_correction(measured - background)

    np.testing.assert_allclose(corrected, machine)


def test_correction_is_held_below_6_and_nothing_from_15() -> None:
    """An upper bound is left below, and the level itself above."""
    corrections = sound.background_correction(np.array([0.0, 3.0, 6.0, 14.999, 15.0, 40.0]))

    np.testing.assert_allclose(corrections[:3], 1.25628, atol=1e-5)
    assert corrections[3] == pytest.approx(0.1396, abs=1e-4)
    np.testing.assert_array_equal(corrections[4:], 0.0)


def test_band_numbers() -> None:
    """Octave 10 and third-octave 30 are 1 kHz; the lowest ones are 63 Hz and 50 Hz, nominally."""
    assert sound.octave_frequency(10) == pytest.approx(1000.0)
    assert sound.third_octave_frequency(30) == pytest.approx(1000.0)
    assert sound.octave_frequency(sound.LOWEST_OCTAVE) == pytest.approx(63.0957)
    assert sound.third_octave_frequency(sound.LOWEST_THIRD_OCTAVE) == pytest.approx(50.1187)


def test_octaves_by_rounded_weights() -> None:
    """Weights of whole decibels and of tenths, and the formula, agree as well as they round."""
    levels = np.array([63.0, 52.0, 45.0, 38.0, 31.0, 24.0, 16.0, 10.0])
    tenths = levels + np.array([-26.2, -16.1, -8.6, -3.2, 0.0, 1.2, 1.0, -1.1])
    whole = levels + np.array([-26.0, -16.0, -9.0, -3.0, 0.0, 1.0, 1.0, 0.0])

    by_formula = sound.a_weighted_level(levels, sound.octave_frequency(np.arange(6, 14)))

    assert sound.level_sum(tenths) == pytest.approx(42.482, abs=1e-3)
    assert sound.level_sum(whole) == pytest.approx(42.497, abs=1e-3)
    assert by_formula == pytest.approx(float(sound.level_sum(tenths)), abs=0.05)


def test_weighting_broadcasts_behind_the_bands() -> None:
    """Two spectra at once are the two one by one."""
    bands = sound.octave_frequency(np.arange(6, 11))
    spectra = np.array([[40.0, 30.0], [35.0, 31.0], [30.0, 32.0], [25.0, 33.0], [20.0, 34.0]])

    both = sound.a_weighted_level(spectra, bands)

    alone = [sound.a_weighted_level(spectra[:, number], bands) for number in range(2)]
    np.testing.assert_allclose(both, alone)
