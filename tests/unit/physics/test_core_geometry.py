"""Geometry of a core: counted by hand, and consistent for any core."""

from dataclasses import replace

import pytest
from hypothesis import given

from loopmargin_service.physics.core_geometry import Core
from tests.unit.physics.core_examples import COMMON, cores


def test_common_core_counted_by_hand() -> None:
    """Areas of the common core from its cells: one cell is one fin pitch by one tube pitch."""
    cells = 0.28 * 0.14 / (COMMON.fin_pitch * 0.01)
    opening = (8.0e-3 - 0.08e-3) * (COMMON.fin_pitch - 0.08e-3)
    wetted = 2.0 * (8.0e-3 + COMMON.fin_pitch - 0.08e-3) * 0.03

    assert COMMON.tube_count == 14
    assert COMMON.free_area_ratio * COMMON.face_area == pytest.approx(cells * opening)
    assert COMMON.air_area == pytest.approx(cells * wetted)
    assert COMMON.fin_share * COMMON.air_area == pytest.approx(cells * 2.0 * 8.0e-3 * 0.03)


def test_tubes_counted_by_hand() -> None:
    """Bore, wetted area and the section of one pass are those of fourteen tubes."""
    assert COMMON.tube_bore == pytest.approx((1.6e-3, 29.6e-3))
    assert COMMON.liquid_area == pytest.approx(14 * 2 * (1.6e-3 + 29.6e-3) * 0.28)
    assert COMMON.liquid_flow_area == pytest.approx(7 * 1.6e-3 * 29.6e-3)
    assert COMMON.tube_hydraulic_diameter == pytest.approx(2 * 1.6e-3 * 29.6e-3 / 31.2e-3)


@given(core=cores())
def test_any_core_is_consistent(core: Core) -> None:
    """Shares lie between zero and one and no pass is without a tube."""
    assert 0.0 < core.free_area_ratio < 1.0
    assert 0.0 < core.fin_share < 1.0
    assert core.tube_count >= core.passes
    assert 0.0 < core.hydraulic_diameter < 2.0 * core.fin_pitch


def test_a_face_lower_than_its_passes() -> None:
    """Each pass has at least one tube, even where the face is too low for it."""
    low = replace(COMMON, face_height=0.005)

    assert low.tube_count == 2
