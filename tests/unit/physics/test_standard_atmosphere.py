"""Thin air around the supply, against ambiance 1.3.1 (International Standard Atmosphere)."""

import pytest
from ambiance import Atmosphere

from loopmargin_service.physics.air import density, standard_pressure


@pytest.mark.parametrize("height", [0.0, 500.0, 1000.0, 2000.0, 3000.0, 5000.0])
def test_density_of_the_standard_atmosphere(height: float) -> None:
    """Pressure and density agree with ambiance 1.3.1 at its own geopotential height."""
    reference = Atmosphere(height)
    pressure = standard_pressure(reference.H[0])

    assert float(pressure) == pytest.approx(float(reference.pressure[0]), rel=1e-5)
    assert float(density(pressure, reference.temperature[0])) == pytest.approx(
        float(reference.density[0]), rel=2e-5
    )


@pytest.mark.parametrize(
    ("height", "printed"), [(1000.0, 0.90746), (2000.0, 0.82162), (5000.0, 0.60091)]
)
def test_density_ratio(height: float, printed: float) -> None:
    """Own digits of the ratio to sea level, by the closed form (1 - 2.25577e-5 h)^4.25588."""
    here = density(standard_pressure(height), 288.15 - 0.0065 * height)
    sea = density(standard_pressure(0.0), 288.15)
    assert printed == pytest.approx(float(here / sea), abs=2e-5)
