"""The tables of glycol: their form; their values are in tests/published."""

import numpy as np
import pytest

from loopmargin_service.physics import glycol


@pytest.mark.parametrize("fluid", glycol.TABLES)
def test_powers_fall_off_like_a_triangle(fluid: glycol.Glycol) -> None:
    """Each power of temperature goes to a lower power of mass fraction than the one before."""
    rows = glycol.TABLES[fluid].rows

    filled = [[int(np.max(np.nonzero(row)[0])) for row in table] for table in rows]

    assert filled == [[5, 4, 3, 2]] * 4


@pytest.mark.parametrize("fluid", glycol.TABLES)
def test_constant_term_is_the_value_at_the_base_point(fluid: glycol.Glycol) -> None:
    """At the base point density, heat capacity and conductivity are those of a thin coolant."""
    density, _, heat, conductivity = glycol.TABLES[fluid].rows[:, 0, 0]

    assert 1000.0 < density < 1050.0
    assert 3700.0 < heat < 3900.0
    assert 0.44 < conductivity < 0.48
