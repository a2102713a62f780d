"""Laws of louvred fins: joins without jumps, scale, and what is held outside the data."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from loopmargin_service.physics import louvred_fin
from loopmargin_service.physics.core_geometry import Core
from tests.unit.physics.core_examples import COMMON, cores

FLOWS = np.geomspace(0.01, 5000.0, 600)
LENGTHS = (
    "face_width",
    "face_height",
    "depth",
    "tube_pitch",
    "tube_thickness",
    "tube_wall",
    "fin_pitch",
    "fin_thickness",
    "louvre_pitch",
    "louvre_length",
)


@given(core=cores())
def test_more_air_transfers_more(core: Core) -> None:
    """The heat transfer coefficient, j Re, rises with the Reynolds number for any core."""
    transfer = FLOWS * louvred_fin.colburn_factor(core, FLOWS)

    assert np.all(np.isfinite(transfer))
    assert np.all(np.diff(transfer) > 0.0)


@given(core=cores())
def test_more_air_needs_more_pressure(core: Core) -> None:
    """The pressure drop, f Re^2, rises at least with the root of the flow for any core."""
    drop = FLOWS**2 * louvred_fin.friction_factor(core, FLOWS)

    slopes = np.diff(np.log(drop)) / np.diff(np.log(FLOWS))
    # Only the low law, below the join, may rise less, as its printed exponent says.
    assert np.all(slopes > 0.0)
    assert np.all(slopes[FLOWS[:-1] > 130.0] > 0.5 - 1e-9)


@given(core=cores(), at=st.sampled_from([50.0, 130.0, 230.0]))
def test_friction_has_no_jump_where_laws_meet(core: Core, at: float) -> None:
    """Just below and just above each meeting point the factor is the same."""
    below, above = louvred_fin.friction_factor(core, [at * (1 - 1e-9), at * (1 + 1e-9)])

    assert below == pytest.approx(above, rel=1e-4)


@given(core=cores())
def test_heat_transfer_has_no_jump_where_laws_meet(core: Core) -> None:
    """Chang-Wang and the fall-off meet at 130."""
    below, above = louvred_fin.colburn_factor(core, [130.0 * (1 - 1e-9), 130.0 * (1 + 1e-9)])

    assert below == pytest.approx(above, rel=1e-6)


@given(factor=st.floats(0.2, 5.0), reynolds=st.floats(1.0, 3000.0))
def test_laws_know_ratios_only(factor: float, reynolds: float) -> None:
    """A core and its enlargement have the same factors at the same Reynolds number."""
    enlarged = replace(COMMON, **{name: factor * getattr(COMMON, name) for name in LENGTHS})

    for law in (louvred_fin.colburn_factor, louvred_fin.friction_factor):
        assert float(law(COMMON, reynolds)) == pytest.approx(float(law(enlarged, reynolds)))


def test_falls_off_below_the_limit() -> None:
    """Slow air transfers less than the power law of Chang and Wang has it."""
    slow = np.array([30.0, 50.0, 100.0])

    ratio = louvred_fin.colburn_factor(COMMON, slow) / louvred_fin.colburn_factor_chang_wang(
        COMMON, slow
    )

    assert np.all(np.diff(ratio) > 0.0)
    assert np.all(ratio < 1.0)


def test_fall_off_of_a_deep_core_ends_at_one_half() -> None:
    """Where the printed fall-off would pass through nothing it stays at one half."""
    deep = replace(COMMON, depth=0.12, fin_pitch=0.9e-3, louvre_angle=35.0, louvre_pitch=2.4e-3)

    ratio = louvred_fin.colburn_factor_park_jacobi(deep, 190.0) / (
        louvred_fin.colburn_factor_park_jacobi(deep, 4000.0)
    )

    exponent = -0.458 - 0.00874 * np.cosh(deep.fin_pitch / deep.louvre_pitch - 1.0)
    assert float(ratio) == pytest.approx(0.5 * (190.0 / 4000.0) ** exponent, rel=1e-6)


def test_creeping_air_has_a_laminar_factor() -> None:
    """Below 50 the factor goes as one over the Reynolds number, past the pole of the law."""
    found = louvred_fin.friction_factor(COMMON, [50.0, 25.0, 2.0])

    assert found[1:].tolist() == pytest.approx([2.0 * found[0], 25.0 * found[0]])


@pytest.mark.parametrize(("reynolds", "power"), [(60.0, -3.01), (120.0, -3.01), (900.0, -2.966)])
def test_thin_fins_far_apart_are_held(reynolds: float, power: float) -> None:
    """A fin ratio below 0.02 counts as 0.02: only the passage still widens."""
    thin = replace(COMMON, fin_thickness=0.01e-3, fin_pitch=2e-3)
    held = replace(thin, fin_thickness=0.04e-3)

    found = louvred_fin.friction_factor(thin, reynolds) / louvred_fin.friction_factor(
        held, reynolds
    )

    widening = thin.hydraulic_diameter / held.hydraulic_diameter
    assert float(found) == pytest.approx(widening**power, rel=1e-9)


def test_fins_far_apart_in_a_small_gap_are_held() -> None:
    """A fin pitch beyond 0.55 of the gap counts as 0.55 in the exponent of slow air."""
    wide = replace(COMMON, fin_pitch=4e-3, tube_pitch=6e-3)

    at_60, at_120 = louvred_fin.friction_factor(wide, [60.0, 120.0])

    logs = np.log(60.0) / np.log(30.0)
    assert at_120 / at_60 == pytest.approx(2.0 ** (-0.805 * 0.55) * logs**-3.01, rel=1e-9)


@pytest.mark.parametrize("reynolds", [2000.0, 1e5])
def test_pitches_beyond_three_are_held(reynolds: float) -> None:
    """A fin pitch of four louvres has the exponent of three, far beyond any argument of cosh."""
    wide = replace(COMMON, fin_pitch=4.0 * COMMON.louvre_pitch)

    slow, fast = louvred_fin.colburn_factor_park_jacobi(wide, [reynolds, 2.0 * reynolds])

    assert fast / slow == pytest.approx(2.0 ** (-0.458 - 0.00874 * np.cosh(2.0)), rel=1e-9)


def test_still_air_counts_as_moving_a_little() -> None:
    """Below a Reynolds number of 1 both factors stay, so that no flow is no division by zero."""
    for law in (louvred_fin.colburn_factor_park_jacobi, louvred_fin.friction_factor):
        still, creeping, moving = law(COMMON, [0.0, 1.0, 1.5])

        assert still == creeping
        assert still > moving


def test_still_air_counts_as_a_reynolds_number_of_one() -> None:
    """What is no faster counts as 1; a hundredth above, both laws have their slope in creep."""
    exponent = -0.458 - 0.00874 * np.cosh(COMMON.fin_pitch / COMMON.louvre_pitch - 1.0)
    for law, slope in (
        (louvred_fin.colburn_factor_park_jacobi, exponent),
        (louvred_fin.friction_factor, -1.0),
    ):
        still, slower, faster = law(COMMON, [0.0, 0.99, 1.01])
        assert still == slower
        assert faster / still == pytest.approx(1.01**slope, rel=1e-9)
    still, laminar = louvred_fin.friction_factor(COMMON, [0.0, 50.0])
    assert still == pytest.approx(50.0 * laminar, rel=1e-12)


def test_regression_of_the_common_core() -> None:
    """Own digits: both factors of the common core against a second implementation."""
    flows = [50.0, 100.0, 200.0, 300.0, 500.0, 1000.0]

    chang_wang = louvred_fin.colburn_factor_chang_wang(COMMON, flows)
    park_jacobi = louvred_fin.colburn_factor_park_jacobi(COMMON, flows)
    friction = louvred_fin.friction_factor(COMMON, flows)

    assert chang_wang.tolist() == pytest.approx(
        [0.058783, 0.041855, 0.029802, 0.024432, 0.019022, 0.013544], abs=5e-7
    )
    assert park_jacobi.tolist() == pytest.approx(
        [0.042551, 0.040749, 0.030272, 0.025056, 0.019740, 0.014282], abs=5e-7
    )
    assert friction.tolist() == pytest.approx(
        [0.508578, 0.256256, 0.162483, 0.119914, 0.089630, 0.063382], abs=5e-7
    )
