"""Weights, sums, distances, backgrounds and speeds as printed."""

import numpy as np
import pytest

from loopmargin_service.physics import sound
from tests.published.printed import Independent, Printed

BANDS = "IEC 61260-1, exact mid-band frequencies, base ten (from memory)"
MADISON = Independent("20 lg of the density, R. Madison 1949 (from memory)", abs=1e-9)
IEC = "IEC 61672-1:2013, table of A-weightings by nominal frequency"
HVAC = "acoustics manual of an air-conditioning maker, A-weighting example of eight octaves"
ADDING = "acoustics tutorial of an air-mover maker, adding two levels"
DISTANCE = "ISO 3744, pressure from power level at 1 m, as handbooks print it (from memory)"
FAN_PAGE = "worked example of a page on fan noise, 90 dB of power at 5 m"
ECMA = "ECMA TR/107, 3rd edition, limits of the standard background correction"
FAN_NOTE = "technical note of an axial-fan maker, level over speed"
FAN_LAWS = "page of basic fan laws, worked example of a fan slowed from 12 V"
PUMP = "manual of an industrial pump, level at 25, 50, 75 and 100 % of its speed"
OTHER_PUMP = "one kilowatt-class pump; the exponent of 40 is for small pumps, between 30 and 50"

# The nominal 10 Hz is band 10, each third-octave one more.
# fmt: off
WEIGHTS = [
    "-70.4", "-63.4", "-56.7", "-50.5", "-44.7", "-39.4", "-34.6", "-30.2", "-26.2", "-22.5",
    "-19.1", "-16.1", "-13.4", "-10.9", "-8.6", "-6.6", "-4.8", "-3.2", "-1.9", "-0.8",
    "0.0", "0.6", "1.0", "1.2", "1.3", "1.2", "1.0", "0.5", "-0.1", "-1.1",
    "-2.5", "-4.3", "-6.6", "-9.3",
]
# fmt: on
OCTAVES = np.array([63.0, 52.0, 45.0, 38.0, 31.0, 24.0, 16.0, 10.0])


@pytest.mark.law("sound.a_weight")
@pytest.mark.parametrize(("number", "printed"), list(enumerate(WEIGHTS, start=10)))
def test_weights(number: int, printed: str) -> None:
    """The formula at the exact mid-band frequency is the printed weight of the nominal one."""
    weight = sound.a_weight(sound.third_octave_frequency(number))

    Printed(f"{IEC}, 10**{number / 10:g} Hz", printed, "dB").check(float(weight))


@pytest.mark.law("sound.a_weighted_level")
def test_octaves_of_a_manual() -> None:
    """Eight octaves give the printed A-weighted level."""
    bands = sound.octave_frequency(sound.LOWEST_OCTAVE + np.arange(8))

    Printed(HVAC, "42", "dBA").check(float(sound.a_weighted_level(OCTAVES, bands)))


@pytest.mark.law("sound.level_sum")
@pytest.mark.parametrize(("second", "printed"), [(86.0, "89"), (80.0, "87")])
def test_two_levels(second: float, printed: str) -> None:
    """86 dB and another level are together what is printed."""
    Printed(ADDING, printed, "dB").check(float(sound.level_sum([86.0, second])))


@pytest.mark.law("sound.radiated_level")
@pytest.mark.parametrize(("directivity", "printed"), [(1.0, "-11"), (2.0, "-8"), (4.0, "-5")])
def test_power_to_pressure_at_1_m(directivity: float, printed: str) -> None:
    """A sphere, half of it and a quarter of it lower the level by what is printed."""
    Printed(DISTANCE, printed, "dB").check(float(sound.radiated_level(0.0, 1.0, directivity)))


@pytest.mark.law("sound.radiated_level")
def test_power_to_pressure_at_5_m() -> None:
    """The worked example, which takes the rounded 11 dB."""
    row = Printed(FAN_PAGE, "65.02", "dB", 0.01, "the print takes 11 dB for 10 lg 4 pi = 10.99 dB")

    row.check(float(sound.radiated_level(90.0, 5.0, 1.0)))


@pytest.mark.law("sound.background_correction")
@pytest.mark.parametrize(("difference", "printed"), [(6.0, "1.26"), (10.0, "0.46")])
def test_background_corrections(difference: float, printed: str) -> None:
    """The corrections at the limits are the printed ones."""
    Printed(ECMA, printed, "dB").check(float(sound.background_correction(difference)))


@pytest.mark.law("sound.speed_change")
@pytest.mark.parametrize(
    ("where", "ratio", "printed"),
    [
        (FAN_NOTE, 0.8, "-5"),
        (FAN_NOTE, 1.1, "2"),
        (FAN_LAWS, 7.0 / 12.0, "-11.7"),
        (FAN_LAWS, 9.0 / 12.0, "-6.25"),
    ],
)
def test_fans_at_other_speeds(where: str, ratio: float, printed: str) -> None:
    """50 lg of the speed is what fan makers and fan laws print."""
    Printed(where, printed, "dB").check(float(sound.speed_change(ratio, 50.0)))


@pytest.mark.law("sound.speed_change")
@pytest.mark.parametrize(("ratio", "printed"), [(0.25, "61"), (0.5, "72"), (0.75, "79")])
def test_a_pump_at_other_speeds(ratio: float, printed: str) -> None:
    """40 lg of the speed meets a published pump from 83 dBA at full speed, within 2.5 dB."""
    row = Printed(PUMP, printed, "dBA", 2.5, OTHER_PUMP)

    row.check(83.0 + float(sound.speed_change(ratio, 40.0)))


@pytest.mark.law("sound.octave_frequency")
@pytest.mark.parametrize(
    ("number", "printed"),
    [(6, "63.096"), (7, "125.89"), (8, "251.19"), (9, "501.19"), (11, "1995.3"), (13, "7943.3")],
)
def test_octave_bands(number: int, printed: str) -> None:
    """The exact mid-band frequencies of octaves are the printed ones."""
    Printed(BANDS, printed, "Hz").check(float(sound.octave_frequency(number)))


@pytest.mark.law("sound.third_octave_frequency")
@pytest.mark.parametrize(
    ("number", "printed"),
    [(17, "50.119"), (18, "63.096"), (19, "79.433"), (20, "100.00"), (31, "1258.9"), (42, "15849")],
)
def test_third_octave_bands(number: int, printed: str) -> None:
    """The exact mid-band frequencies of third-octaves are the printed ones."""
    Printed(BANDS, printed, "Hz").check(float(sound.third_octave_frequency(number)))


@pytest.mark.law("sound.equal_sources")
@pytest.mark.parametrize(("count", "printed"), [(1, "0"), (2, "3"), (4, "6"), (10, "10")])
def test_equal_sources(count: int, printed: str) -> None:
    """Two equal sources are 3 dB over one, four 6 dB, ten 10 dB, as every textbook prints."""
    Printed("acoustics, any textbook (from memory)", printed, "dB").check(
        float(sound.equal_sources(count))
    )


@pytest.mark.law("sound.density_change")
@pytest.mark.parametrize("ratio", [0.7, 0.8, 1.0, 1.1])
def test_fans_in_thin_air(ratio: float) -> None:
    """The level goes with the square of the density."""
    change = sound.density_change(ratio * sound.REFERENCE_DENSITY)

    MADISON.check(change, 20.0 * np.log10(ratio))
