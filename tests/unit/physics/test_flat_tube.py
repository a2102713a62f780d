"""Flat tubes: no jumps, and more flow never transfers less heat."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from loopmargin_service.physics import flat_tube

FLOWS = np.geomspace(1.0, 2e4, 4000)


@given(prandtl=st.floats(2.0, 80.0), slenderness=st.floats(10.0, 400.0), side=st.floats(0.01, 0.3))
def test_more_flow_transfers_more(prandtl: float, slenderness: float, side: float) -> None:
    """From creeping to turbulent flow the Nusselt number rises."""
    found = flat_tube.nusselt(FLOWS, prandtl, slenderness, side)

    assert np.all(np.diff(found) >= -1e-12 * found[1:])


@pytest.mark.parametrize("length", [0.003, 0.01])
def test_entrance_laws_meet(length: float) -> None:
    """Just before and just after the ends of the join the Nusselt number is the same."""
    before, after = flat_tube.laminar_nusselt([length * (1 - 1e-9), length * (1 + 1e-9)], 0.05)

    assert before == pytest.approx(after, rel=1e-7)


@pytest.mark.parametrize("limit", [flat_tube.LAMINAR_LIMIT, flat_tube.TURBULENT_LIMIT])
def test_laminar_and_turbulent_laws_meet(limit: float) -> None:
    """Just below and just above each limit the Nusselt number is the same."""
    below, above = flat_tube.nusselt([limit * (1 - 1e-9), limit * (1 + 1e-9)], 4.3, 100.0, 0.05)

    assert below == pytest.approx(above, rel=1e-6)


def test_long_tubes_are_developed() -> None:
    """Far from the entrance the developed value is left, whatever the Prandtl number."""
    found = flat_tube.nusselt(100.0, [2.0, 20.0], 1e6, 0.05)

    assert found.tolist() == pytest.approx([flat_tube.developed_nusselt(0.05)] * 2, rel=1e-4)


def test_laminar_and_turbulent_are_joined_by_a_straight_line() -> None:
    """Halfway between the limits stands the mean of the two ends."""
    middle = 0.5 * (flat_tube.LAMINAR_LIMIT + flat_tube.TURBULENT_LIMIT)
    flows = [flat_tube.LAMINAR_LIMIT, middle, flat_tube.TURBULENT_LIMIT]

    low, mean, high = flat_tube.nusselt(flows, 4.3, 100.0, 0.05)

    # Between the limits the laminar end is that of 2300, so the middle is the plain mean.
    assert mean == pytest.approx(0.5 * (low + high))


def test_still_coolant_has_a_finite_number() -> None:
    """No flow gives the developed value, not a division by zero."""
    assert float(flat_tube.nusselt(0.0, 4.3, 100.0, 0.05)) == pytest.approx(
        flat_tube.developed_nusselt(0.05), rel=1e-4
    )
