"""Suction head: what adds to it, what takes from it."""

import numpy as np
import pytest
from scipy.constants import g as gravity

from loopmargin_service.physics.suction import available_suction_head


def test_at_boiling_only_level_and_loss_remain() -> None:
    """Coolant that boils at its own surface has the level less the loss, and no more."""
    assert available_suction_head(2.3e3, 2.3e3, 998.0, 0.3, 0.1) == pytest.approx(0.2)


def test_each_term_counts_one_to_one() -> None:
    """A metre more level, a metre less loss and a metre of pressure are worth the same."""
    density = 998.0
    start = available_suction_head(101325.0, 2300.0, density, 0.1, 0.5)

    changed = available_suction_head(
        101325.0 + np.array([density * gravity, 0.0, 0.0]),
        2300.0,
        density,
        0.1 + np.array([0.0, 1.0, 0.0]),
        0.5 - np.array([0.0, 0.0, 1.0]),
    )

    np.testing.assert_allclose(changed - start, 1.0, rtol=1e-12)


def test_suction_head_turns_negative_where_coolant_would_boil() -> None:
    """A lift higher than the atmosphere carries has no suction head left."""
    assert available_suction_head(101325.0, 2300.0, 998.0, -11.0, 0.0) < 0.0
