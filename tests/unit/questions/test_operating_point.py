"""The operating point of a loop: flow, heads, pressures and powers against hand calculation."""

import math
from typing import Any

import msgspec
import pytest

from loopmargin_service.questions import parts, pump_head
from loopmargin_service.questions.conversion import L_PER_MIN
from loopmargin_service.questions.operating_point import pump_power, regime
from loopmargin_wire.part import HeadPoint, Pump
from loopmargin_wire.pump_head import LoopState, PumpHeadAnswer, PumpHeadQuestion
from tests.unit.questions.asked import Changes, changed, loop_state

GRAVITY = 9.80665
# One bar in metres of water of 1000 kg/m3; density cancels between Kv and head.
BAR_M = 1e5 / (1000.0 * GRAVITY)

BARE: dict[str, Any] = {
    "coolant": {"kind": "water"},
    "coolant_c": 25,
    "room": {"air_c": 20},
    "pumps": [
        {
            "curve": [{"flow_l_per_min": 0, "head_m": 4}, {"flow_l_per_min": 10, "head_m": 0}],
            "curve_speed_rpm": 3000,
            "speed_rpm": 3000,
        }
    ],
    "branches": [{"name": "loop", "elements": [{"kind": "quick_disconnect", "kv_m3_per_h": 0.6}]}],
    "required_flow_l_per_min": 3,
}


def ask_bare(changes: Changes | None = None) -> PumpHeadAnswer:
    """Ask about a pump with a parabola for a curve and one coupling of known Kv."""
    return pump_head.answer(msgspec.convert(changed(BARE, changes), PumpHeadQuestion))


def bare(changes: Changes | None = None) -> LoopState:
    """Solve a pump with a parabola for a curve and one coupling of known Kv."""
    state = ask_bare(changes).state
    assert state is not None
    return state


def bare_flow(kv: float, shut_off: float = 4.0, free: float = 10.0) -> float:
    """Solve h0 (1 - q^2/q0^2) = bar (0.06 q / Kv)^2 for q in L/min."""
    return math.sqrt(shut_off / (shut_off / free**2 + BAR_M * (0.06 / kv) ** 2))


@pytest.mark.parametrize("kv", [0.1, 0.6, 3.0])
def test_where_parabola_and_square_law_meet(kv: float) -> None:
    """Flow and head are those of the two equations, whatever the density."""
    state = bare({"branches/0/elements/0/kv_m3_per_h": kv})
    flow = bare_flow(kv)

    assert flow == pytest.approx(state.flow_l_per_min, rel=1e-8)
    assert state.head_m == pytest.approx(4.0 * (1.0 - (flow / 10.0) ** 2), rel=1e-7)
    assert state.pumps[0].head_m == pytest.approx(state.head_m, rel=1e-9)


def test_pressure_drop_of_a_coupling() -> None:
    """The drop is rho / 1000 bar at a flow of Kv."""
    state = bare()
    density = float(parts.liquid(parts.Mix("water", 0.0), 25.0).density[0])

    expected = 100.0 * density / 1000.0 * (0.06 * state.flow_l_per_min / 0.6) ** 2
    assert expected == pytest.approx(state.elements[0].pressure_drop_kpa, rel=1e-9)
    assert expected == pytest.approx(state.branches[0].pressure_drop_kpa, rel=1e-7)


def test_laminar_tube() -> None:
    """A long narrow tube takes 128 mu L q / (pi d^4) (Hagen and Poiseuille)."""
    tube = {"kind": "tube", "bore_mm": 4, "length_mm": 20000}
    state = bare(
        {
            "branches/0/elements": [tube],
            "coolant": {"kind": "propylene_glycol", "mass_fraction": 0.5},
        }
    )
    viscosity = float(parts.liquid(parts.Mix("propylene_glycol", 0.5), 25.0).viscosity[0])
    flow = state.flow_l_per_min * L_PER_MIN

    expected = 128.0 * viscosity * 20.0 * flow / (math.pi * 0.004**4) / 1e3
    (element,) = state.elements
    assert expected == pytest.approx(element.pressure_drop_kpa, rel=1e-4)
    assert element.regime == "laminar"
    assert element.velocity_m_per_s == pytest.approx(flow / (0.25 * math.pi * 0.004**2))


def test_elements_take_what_the_pump_gives() -> None:
    """Around the loop of the example the drops of all elements add up to the pump head."""
    state = loop_state()
    density = float(parts.liquid(parts.Mix("propylene_glycol", 0.2), 40.0).density[0])

    taken = sum(element.pressure_drop_kpa for element in state.elements) * 1e3
    assert taken == pytest.approx(state.pumps[0].head_m * density * GRAVITY, rel=1e-6)
    assert taken == pytest.approx(state.branches[0].pressure_drop_kpa * 1e3, rel=1e-6)


@pytest.mark.parametrize(
    ("reynolds", "expected"),
    [
        (0.0, "laminar"),
        (1999.0, "laminar"),
        (2000.0, "transitional"),
        (3999.0, "transitional"),
        (4000.0, "turbulent"),
    ],
)
def test_regimes(reynolds: float, expected: str) -> None:
    """Laminar below a Reynolds number of 2000, turbulent from 4000 on (Churchill 1977)."""
    assert expected == regime(reynolds)


@pytest.mark.parametrize(
    ("speed", "hydraulic", "expected"),
    [(3000.0, 1.0, (16.0, 12.0)), (1500.0, 1.0, (2.0, 1.5)), (1500.0, 1.9, (2.0, 1.9))],
)
def test_power_of_a_pump(speed: float, hydraulic: float, expected: tuple[float, float]) -> None:
    """Half the speed takes an eighth; what the coolant is given in work ends there as heat."""
    pump = Pump(
        curve=(HeadPoint(flow_l_per_min=0.0, head_m=4.0),),
        curve_speed_rpm=3000.0,
        speed_rpm=speed,
        electrical_power_w=16.0,
        heat_to_coolant_fraction=0.75,
    )
    assert expected == pytest.approx(pump_power(pump, hydraulic))


def test_hydraulic_power() -> None:
    """The power given to the coolant is rho g h q."""
    (pump,) = bare().pumps
    density = float(parts.liquid(parts.Mix("water", 0.0), 25.0).density[0])
    work = density * GRAVITY * pump.head_m * pump.flow_l_per_min * L_PER_MIN
    assert work == pytest.approx(pump.hydraulic_power_w, rel=1e-9)


def test_suction_head() -> None:
    """100 mm above the inlet, 25 degC: (101325 - 3169.9) / (rho g) + 0.1 m of suction head.

    The vapour pressure of 3.1699 kPa is that of the steam tables (IAPWS-IF97, region 4).
    """
    (pump,) = bare().pumps

    head = (101325.0 - 3169.9) / (997.05 * GRAVITY) + 0.1
    assert head == pytest.approx(pump.suction_head_m, rel=1e-4)
    assert pump.inlet_pressure_kpa == pytest.approx(
        101.325 + 997.05 * GRAVITY * 0.1 / 1e3, rel=1e-5
    )


def test_reservoir_lifts_the_inlet() -> None:
    """Each metre of level is a metre of suction head, 9.78 kPa on the surface are another."""
    low = bare({"reservoir": {"level_above_pump_mm": 0}}).pumps[0]
    high = bare({"reservoir": {"level_above_pump_mm": 1000}}).pumps[0]
    pressed = bare(
        {"reservoir": {"level_above_pump_mm": 0, "surface_pressure_kpa": 0.99705 * GRAVITY}}
    ).pumps[0]

    assert high.suction_head_m - low.suction_head_m == pytest.approx(1.0)
    assert pressed.suction_head_m - low.suction_head_m == pytest.approx(1.0, rel=1e-4)


def test_reservoir_behind_the_loop_costs_suction() -> None:
    """A reservoir at the delivery puts the whole head between the surface and the inlet."""
    near = bare().pumps[0]
    far = bare({"reservoir": {"node": "delivery"}}).pumps[0]

    assert near.suction_head_m - far.suction_head_m == pytest.approx(near.head_m, rel=1e-6)


@pytest.mark.parametrize("flow", [1.0, 4.0])
def test_velocity_that_carries_air(flow: float) -> None:
    """In a vertical tube (0.825 + 0.25) sqrt(g d), Wisner, Mohsen and Kouwen 1975."""
    tube = {"kind": "tube", "bore_mm": 10, "length_mm": 100}
    state = bare({"branches/0/elements/1": tube, "required_flow_l_per_min": flow})

    expected = 1.075 * math.sqrt(GRAVITY * 0.01)
    coupling, straight = state.elements
    assert expected == pytest.approx(straight.velocity_to_carry_air_m_per_s)
    assert coupling.velocity_m_per_s is None
