"""Random parts that coolant and air flow through: order, bounds, scale and ways back."""

from typing import Literal

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from loopmargin_service.physics import (
    air,
    air_carry,
    air_path,
    drop,
    fitting,
    louvred_core,
    suction,
)
from loopmargin_service.physics.core_geometry import Core
from loopmargin_service.physics.radiator import AirStream
from tests.unit.physics.bench_air import CORE, fan, outside
from tests.unit.physics.core_examples import cores

MANY = settings(derandomize=True, max_examples=100)
BORES = st.floats(0.004, 0.05)
RATIOS = st.floats(0.2, 5.0)
MORE = st.floats(1.01, 3.0)


@MANY
@given(bore=BORES, fall=st.floats(0.0, 1.5), step=st.floats(0.001, 0.07), factor=RATIOS)
def test_steeper_and_wider_tubes_hold_their_air(
    bore: float, fall: float, step: float, factor: float
) -> None:
    """A pocket needs more velocity the steeper the fall, and the root of a wider bore."""
    needed = air_carry.velocity_to_clear_pockets(bore, fall)

    assert air_carry.velocity_to_clear_pockets(bore, fall + step) > needed > 0.0
    wider = air_carry.velocity_to_clear_pockets(factor * bore, fall)
    assert wider == pytest.approx(float(needed) * factor**0.5, rel=1e-12)


@MANY
@given(bore=st.floats(0.006, 0.05), viscosity=st.floats(4e-4, 0.02), more=MORE)
def test_a_bubble_rises_no_faster_than_without_friction(
    bore: float, viscosity: float, more: float
) -> None:
    """Its Froude number stays below 0.35, the limit of Dumitrescu 1943 (from memory, 0.351).

    Thick coolant slows it, and a wide tube frees it.
    """
    rise = air_carry.slug_rise_velocity(bore, 1000.0, viscosity, 0.07)

    assert 0.0 < rise < 0.351 * np.sqrt(9.80665 * bore)
    assert air_carry.slug_rise_velocity(bore, 1000.0, viscosity * more, 0.07) <= rise
    assert air_carry.slug_rise_velocity(bore * more, 1000.0, viscosity, 0.07) > rise


@MANY
@given(flow=st.floats(0.0, 0.06), speed=st.floats(0.3, 1.5), denser=st.floats(0.7, 1.2))
def test_fans_keep_to_their_laws(flow: float, speed: float, denser: float) -> None:
    """Speed times k: flow times k, pressure times k squared; pressure as density."""
    path, density = outside(CORE, fan(), 2), air_path.CURVE_DENSITY

    def pressure(volume: float, dense: float, ratio: float) -> float:
        state = (np.array([value]) for value in (volume * dense, dense, 293.15))
        return float(air_path.fan_pressure(path, fan(), AirStream(*state), np.array([ratio]))[0][0])

    plain = pressure(flow, density, 1.0)
    found = pressure(speed * flow, denser * density, speed)
    assert found == pytest.approx(plain * denser * speed**2, rel=1e-9, abs=1e-9)


@MANY
@given(linear=RATIOS, quadratic=RATIOS, first=RATIOS, second=RATIOS)
def test_two_changes_of_coolant_are_one(
    linear: float, quadratic: float, first: float, second: float
) -> None:
    """To another coolant and back is no change, the order is free, and a thicker one loses more."""
    part = drop.Drop(np.array(linear), np.array(quadratic))

    back = drop.at_state(drop.at_state(part, first, second), 1.0 / first, 1.0 / second)
    there = drop.at_state(drop.at_state(part, first, 1.0), 1.0, second)

    assert (drop.at_state(part, first, second).linear > part.linear) == (first > 1.0)
    np.testing.assert_allclose(back, part, rtol=1e-12)
    np.testing.assert_allclose(there, drop.at_state(part, first, second), rtol=1e-12)


@MANY
@given(kv=st.floats(0.1, 20.0), share=st.floats(0.01, 2.0), density=st.floats(900.0, 1150.0))
def test_a_flow_coefficient_is_the_flow_at_one_bar(kv: float, share: float, density: float) -> None:
    """Water at Kv loses one bar, other flows as their square, other coolants as their density."""
    flow = share * kv / 3600.0
    lost = drop.from_kv(kv / 3600.0, density).quadratic * flow**2

    assert lost == pytest.approx(1e5 * share**2 * density / 1000.0, rel=1e-12)


@MANY
@given(bore=BORES, more=MORE, path=st.sampled_from(["run", "branch"]))
def test_round_the_corner_costs_more(
    bore: float, more: float, path: Literal["run", "branch"]
) -> None:
    """Through the branch a tee loses more than straight on, and a wide one less than a narrow."""
    narrow, wide = (fitting.tee(path, size) for size in (bore, more * bore))

    assert narrow.inertial > wide.inertial > 0.0
    assert fitting.tee("branch", bore).inertial > fitting.tee("run", bore).inertial


@MANY
@given(angle=st.floats(0.1, 3.0), more=st.floats(0.01, 0.14), radius=st.floats(1.0, 10.0))
def test_a_bend_that_turns_further_loses_more(angle: float, more: float, radius: float) -> None:
    """Both parts of its loss rise with the angle, and neither is a gain."""
    short, long = (fitting.bend(turn, radius) for turn in (angle, angle + more))

    assert long.inertial > short.inertial > 0.0
    assert long.friction_length > short.friction_length > 0.0


@MANY
@given(core=cores(), velocity=st.floats(0.05, 6.0), more=MORE, warmer=st.floats(0.0, 40.0))
def test_a_core_holds_back_faster_air(
    core: Core, velocity: float, more: float, warmer: float
) -> None:
    """The drop rises with the velocity, the Reynolds number in proportion to it."""
    density = air.density(101325.0, 293.15 + warmer)
    slow, fast = (
        louvred_core.air_pressure_drop(core, v, density, 293.15 + warmer)
        for v in (velocity, velocity * more)
    )
    ratio = louvred_core.reynolds(core, velocity * more, density, 293.15) / louvred_core.reynolds(
        core, velocity, density, 293.15
    )

    assert fast > slow > 0.0
    assert ratio == pytest.approx(more, rel=1e-12)


@MANY
@given(
    pressure=st.floats(6e4, 2e5),
    vapour=st.floats(600.0, 5e4),
    level=st.floats(-1.0, 2.0),
    loss=st.floats(0.0, 3.0),
)
def test_a_metre_is_a_metre_at_the_inlet(
    pressure: float, vapour: float, level: float, loss: float
) -> None:
    """Level and loss count in full; a column of the head above boiling weighs the pressure."""
    head = float(suction.available_suction_head(pressure, vapour, 1020.0, level, loss))

    weight = 1020.0 * 9.80665 * (head - level + loss)
    assert weight == pytest.approx(pressure - vapour, rel=1e-9, abs=1e-6)
