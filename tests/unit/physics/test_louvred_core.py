"""Louvred cores: order, bounds, and the regression table of one common core."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from loopmargin_service.physics import air, coolant, exchanger, louvred_core, louvred_fin
from loopmargin_service.physics.core_geometry import Core
from tests.unit.physics.core_examples import COMMON, cores

ROOM = 298.15
DENSITY = float(air.density(101325.0, ROOM))
WATER = coolant.properties("water", 0.0, 313.15)
VELOCITIES = np.geomspace(1e-3, 10.0, 150)

# Face velocity, litres per minute, UA, conductance between the inlets, pressure drop.
REGRESSION = [
    (0.5, 1, 70.65, 19.640, 6.93),
    (0.5, 2, 71.11, 20.931, 6.93),
    (0.5, 4, 71.97, 21.624, 6.93),
    (1.0, 1, 92.06, 31.304, 14.04),
    (1.0, 2, 92.85, 35.546, 14.04),
    (1.0, 4, 94.32, 38.035, 14.04),
    (1.5, 1, 106.24, 38.559, 24.05),
    (1.5, 2, 107.29, 45.933, 24.05),
    (1.5, 4, 109.27, 50.549, 24.05),
    (2.0, 1, 116.95, 43.464, 35.69),
    (2.0, 2, 118.22, 53.730, 35.69),
    (2.0, 4, 120.62, 60.483, 35.69),
    (3.0, 1, 132.76, 49.643, 59.68),
    (3.0, 2, 134.41, 64.768, 59.68),
    (3.0, 4, 137.52, 75.465, 59.68),
]


def ua(velocity: float, litres: float, colburn: louvred_core.Law | None = None) -> float:
    """UA of the common core in a room with water at 40 degC."""
    flow = float(WATER.density) * litres / 60000.0
    return float(
        louvred_core.conductance(COMMON, velocity, DENSITY, ROOM, flow, WATER, colburn=colburn)
    )


def between_inlets(conductance: float, velocity: float, litres: float) -> float:
    """Conductance of the common core between its inlets."""
    air_rate = velocity * DENSITY * COMMON.face_area * air.HEAT_CAPACITY
    liquid_rate = float(WATER.density * WATER.heat_capacity) * litres / 60000.0
    return float(exchanger.inlet_conductance(conductance, air_rate, liquid_rate, 2))


@pytest.mark.parametrize("row", REGRESSION, ids=lambda row: f"{row[0]} m/s, {row[1]} L/min")
def test_regression_of_the_common_core(row: tuple[float, float, float, float, float]) -> None:
    """Own digits, of Chang and Wang alone, against a second implementation."""
    velocity, litres, conductance, inlets, drop = row

    found = ua(velocity, litres, louvred_fin.colburn_factor_chang_wang)

    assert conductance == pytest.approx(found, abs=0.005)
    assert inlets == pytest.approx(between_inlets(found, velocity, litres), abs=0.0005)
    assert drop == pytest.approx(
        float(louvred_core.air_pressure_drop(COMMON, velocity, DENSITY, ROOM)), abs=0.005
    )


def test_regression_of_slow_air() -> None:
    """Own digits: at 1 m/s the fall-off costs 1.6 % of UA and 0.5 % of heat."""
    found = ua(1.0, 2.0)

    assert found == pytest.approx(91.37, abs=0.005)
    assert between_inlets(found, 1.0, 2.0) == pytest.approx(35.372, abs=0.0005)


def test_from_two_metres_per_second_the_default_is_chang_wang() -> None:
    """Fast air follows the louvres."""
    assert ua(2.0, 2.0) == ua(2.0, 2.0, louvred_fin.colburn_factor_chang_wang)


@given(core=cores(), flow=st.floats(1e-4, 0.5))
def test_more_air_moves_more_heat(core: Core, flow: float) -> None:
    """For any core UA and the conductance between the inlets rise with the air, and are finite."""
    found = louvred_core.conductance(core, VELOCITIES, DENSITY, ROOM, flow, WATER)

    inlets = exchanger.inlet_conductance(
        found,
        VELOCITIES * DENSITY * core.face_area * air.HEAT_CAPACITY,
        flow * WATER.heat_capacity,
        core.passes,
    )
    assert np.all(np.isfinite(found))
    assert np.all(np.diff(found) >= -1e-12 * found[1:])
    assert np.all(np.diff(inlets) >= -1e-12 * inlets[1:])


@given(core=cores(), velocity=st.floats(0.05, 10.0))
def test_more_coolant_moves_more_heat(core: Core, velocity: float) -> None:
    """For any core UA never falls with the coolant flow."""
    flows = np.geomspace(1e-6, 1.0, 100)

    found = louvred_core.conductance(core, velocity, DENSITY, ROOM, flows, WATER)

    assert np.all(np.diff(found) >= -1e-12 * found[1:])


@given(core=cores(), coefficient=st.floats(1.0, 500.0))
def test_surface_efficiency_is_a_share(core: Core, coefficient: float) -> None:
    """The surface is never better than one that is all at the tube's temperature."""
    found = float(louvred_core.surface_efficiency(core, np.array(coefficient)))

    assert 0.0 < found < 1.0


def test_fin_efficiency_of_a_long_fin() -> None:
    """A poor conductor leaves little of the fin: tanh(x)/x for a long one is 1/x."""
    poor = np.array(2e6)
    edge = 1.0 + COMMON.fin_thickness / COMMON.depth
    reach = np.sqrt(2.0 * poor * edge / (380.0 * 0.08e-3)) * 4e-3

    found = float(louvred_core.surface_efficiency(COMMON, poor))

    assert found == pytest.approx(1.0 - COMMON.fin_share * (1.0 - 1.0 / float(reach)))


@pytest.mark.parametrize("shape", [(), (5,), (2, 5)])
def test_broadcasts(shape: tuple[int, ...]) -> None:
    """Air and coolant of any shape give a conductance and a drop of that shape."""
    velocity = np.full(shape, 1.0)

    found = louvred_core.conductance(COMMON, velocity, DENSITY, ROOM, np.full(5, 0.03), WATER)
    drop = louvred_core.air_pressure_drop(COMMON, velocity, DENSITY, np.full(5, ROOM))

    assert found.shape == drop.shape == np.broadcast_shapes(shape, (5,))


def test_thin_air_has_a_lower_reynolds_number() -> None:
    """The Reynolds number goes with density and velocity."""
    whole = louvred_core.reynolds(COMMON, 1.0, DENSITY, ROOM)
    half = louvred_core.reynolds(COMMON, 0.5, DENSITY, ROOM)

    assert float(whole) == pytest.approx(103.08, abs=0.005)
    assert float(half) == pytest.approx(0.5 * float(whole))
