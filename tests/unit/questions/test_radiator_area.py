"""`radiator-area`: conductance, area, sections and air, against hand calculation."""

import math
from typing import Any

import msgspec
import numpy as np
import pytest

from loopmargin_service.questions import parts, radiator_area
from loopmargin_service.questions.conversion import L_PER_MIN
from loopmargin_service.questions.edition import EDITION
from loopmargin_service.questions.radiator_curve import sections_for
from loopmargin_wire.radiator_area import RadiatorAreaAnswer, RadiatorAreaQuestion, RadiatorState
from tests.unit.questions.asked import Changes, ask_area, changed, codes, margin_of

# Rated at 25 degC of air, 40 degC of water, 180 m3/h through 500 cm2 and 4 L/min.
RATED: dict[str, Any] = {
    "heat_w": 300,
    "room": {"air_c": 25},
    "target": {"kind": "coolant", "coolant_c": 40},
    "air": {"kind": "air_flow", "air_flow_m3_per_h": 180},
    "coolant": {"kind": "water"},
    "flow_l_per_min": 4,
    "radiator": {
        "kind": "rated",
        "face_width_mm": 400,
        "face_height_mm": 125,
        "conductance_w_per_k": 20,
        "basis": "coolant_inlet",
        "air_flow_m3_per_h": 180,
        "flow_l_per_min": 4,
        "air_pressure_drop": [{"air_flow_m3_per_h": 180, "pressure_drop_pa": 12}],
    },
}
FANS: dict[str, Any] = {
    "kind": "fans",
    "fans": {
        "fan": {
            "curve": [
                {"air_flow_m3_per_h": 0, "pressure_pa": 30},
                {"air_flow_m3_per_h": 100, "pressure_pa": 0},
            ],
            "curve_speed_rpm": 1500,
        },
        "count": 3,
        "speed_rpm": 1500,
    },
}


def ask(changes: Changes | None = None) -> RadiatorAreaAnswer:
    """Ask about the rated radiator above."""
    return radiator_area.answer(msgspec.convert(changed(RATED, changes), RadiatorAreaQuestion))


def state_of(changes: Changes | None = None) -> RadiatorState:
    """Ask about the rated radiator above, where there is a state."""
    state = ask(changes).state
    assert state is not None
    return state


def coolant_capacity(flow_l_per_min: float, coolant_c: float) -> float:
    """Give the heat that water carries for each kelvin. [W/K]"""
    water = parts.liquid(parts.Mix("water", 0.0), coolant_c)
    return float(flow_l_per_min * L_PER_MIN * water.density[0] * water.heat_capacity[0])


def test_radiator_at_its_rating() -> None:
    """Asked at its rating, a rated radiator has its rated conductance and needs its own area."""
    state = state_of()

    assert state.conductance_per_section_w_per_k == pytest.approx(20.0, rel=2e-3)
    assert state.conductance_needed_w_per_k == pytest.approx(300.0 / 15.0)
    assert state.area_installed_cm2 == pytest.approx(500.0)
    assert state.area_needed_cm2 == pytest.approx(500.0, rel=2e-3)
    assert state.heat_carried_at_target_w == pytest.approx(300.0, rel=2e-3)


def test_rise_and_coolant_target_are_one() -> None:
    """15 K over 25 degC is 40 degC."""
    seeded = {"uncertainty": {"seed": "0" * 32}}
    rise = ask({"target": {"kind": "rise", "rise_k": 15}, **seeded})

    assert rise.state == ask(seeded).state
    assert rise.margins == ask(seeded).margins


def test_coolant_leaves_cooler_and_air_warmer() -> None:
    """Both streams change by the heat over their capacity rates; the inlets are those asked."""
    state = state_of()

    assert state.coolant_in_c == pytest.approx(40.0)
    warm_out = 40.0 - 300.0 / coolant_capacity(4.0, 39.5)
    assert warm_out == pytest.approx(state.coolant_out_c, abs=1e-3)
    air_capacity = 0.05 * 101325.0 / (287.05 * 298.15) * 1006.5
    assert 25.0 + 300.0 / air_capacity == pytest.approx(state.air.air_out_c, abs=1e-2)


def test_sections_in_series() -> None:
    """Each section leaves 1 - G/C of the inlet difference, with fresh air for each."""
    one, three = state_of(), state_of({"section_count": 3})

    capacity = coolant_capacity(4.0, 39.5)
    left = (1.0 - one.conductance_per_section_w_per_k / capacity) ** 3
    expected = capacity * (1.0 - left)
    assert expected == pytest.approx(three.conductance_available_w_per_k, rel=1e-4)
    assert three.area_installed_cm2 == pytest.approx(1500.0)


@pytest.mark.parametrize(
    ("needed", "each", "expected"),
    [(10.0, 10.0, 1.0), (19.0, 10.0, 2.0), (27.1, 10.0, 3.0), (5.0, 10.0, math.log(0.95))],
)
def test_sections_for(needed: float, each: float, expected: float) -> None:
    """With G/C of a tenth two sections carry 0.19 C and three 0.271 C; a half is a logarithm."""
    if expected < 0.0:
        expected /= math.log(0.9)
    assert expected == pytest.approx(float(sections_for(needed, np.float64(each), 100.0)))


@pytest.mark.parametrize(("needed", "each"), [(100.0, 10.0), (120.0, 10.0), (5.0, 0.0)])
def test_no_number_of_sections_suffices(needed: float, each: float) -> None:
    """The coolant can be cooled to the air at most, and a section without air does nothing."""
    assert np.isinf(sections_for(needed, np.float64(each), 100.0))


@pytest.mark.parametrize("count", [1, 2, 5])
def test_heat_of_the_installed_sections_needs_exactly_them(count: int) -> None:
    """Asked to carry what it carries, the radiator needs the area that is installed.

    The heat moves the mean coolant temperature a little, so it is put back a few times.
    """
    asked: dict[str, object] = {"section_count": count}
    for _ in range(8):
        asked["heat_w"] = state_of(asked).heat_carried_at_target_w
    actual = ask(asked)

    assert actual.state is not None
    assert actual.state.area_needed_cm2 == pytest.approx(500.0 * count, rel=1e-9)
    assert [row.surplus for row in actual.margins] == pytest.approx([0.0] * 3, abs=1e-6)
    assert [row.chance for row in actual.margins] == pytest.approx([0.5] * 3, abs=0.06)


def test_advised_sections_are_enough_and_one_less_is_not() -> None:
    """The number that is advised meets the demand, the number before it does not."""
    hot = {"heat_w": 1500}
    advised = state_of(hot).sections_needed
    assert advised is not None

    enough, less = (
        margin_of(ask({**hot, "section_count": n}), "conductance") for n in (advised, advised - 1)
    )
    assert enough.surplus >= 0.0 > less.surplus


def test_area_curve() -> None:
    """More air needs less area and more pressure; the curve passes through the answer."""
    state = state_of({"air": {"kind": "face_velocity", "face_velocity_m_per_s": 1.0}})
    points = [(p.face_velocity_m_per_s, p.area_cm2 or 0.0) for p in state.area_curve]

    assert points == sorted(points)
    assert [area for _, area in points] == sorted((area for _, area in points), reverse=True)
    assert dict(points)[1.0] == pytest.approx(state.area_needed_cm2)
    drops = [p.air_pressure_drop_pa for p in state.area_curve]
    assert drops == sorted(drops)


def test_air_flow_and_face_velocity_are_one() -> None:
    """180 m3/h through 500 cm2 are 1 m/s."""
    by_velocity = state_of({"air": {"kind": "face_velocity", "face_velocity_m_per_s": 1.0}})
    by_flow = state_of()

    assert by_velocity.air.air_flow_m3_per_h == pytest.approx(180.0)
    assert by_flow.air.face_velocity_m_per_s == pytest.approx(1.0)
    assert by_flow.conductance_available_w_per_k == pytest.approx(
        by_velocity.conductance_available_w_per_k
    )


@pytest.mark.parametrize(("speed", "share"), [(1500, 1.0), (750, 0.5)])
def test_where_fans_and_radiator_meet(speed: float, share: float) -> None:
    """30 (1 - q^2/300^2) meets 12 (q/180)^2 and half a velocity head of 5; both go as n^2.

    Fan, core and grille scale with the density alike, so that it cancels.
    """
    grille = {"kind": "loss_coefficient", "loss_coefficient": 5.0}
    state = state_of({"air": FANS, "air/fans/speed_rpm": speed, "air/grille": grille})

    rated, curve_density = 101325.0 / (287.05 * 298.15), 1.204
    core = 12.0 / 180.0**2 / rated
    screen = 0.5 * 5.0 / (0.05 * 3600.0) ** 2
    fans = 30.0 / 300.0**2 / curve_density
    flow = share * math.sqrt(30.0 / curve_density / (fans + core + screen))
    assert flow == pytest.approx(state.air.air_flow_m3_per_h, rel=1e-4)


def test_fans_give_what_core_and_grille_take() -> None:
    """Without a grille the pressure of the fans is the drop of the core."""
    air = state_of({"air": FANS}).air
    assert air.fan_pressure_pa == pytest.approx(air.pressure_drop_pa, rel=1e-6)


def test_more_fans_more_air() -> None:
    """A fourth fan, or a faster one, never lowers the air flow or the conductance."""
    three, four, faster = (
        state_of({"air": FANS, **changes})
        for changes in ({}, {"air/fans/count": 4}, {"air/fans/speed_rpm": 1600})
    )
    for more in (four, faster):
        assert more.air.air_flow_m3_per_h > three.air.air_flow_m3_per_h
        assert more.conductance_available_w_per_k > three.conductance_available_w_per_k


def test_altitude_thins_the_air() -> None:
    """At 3000 m the same volume of air carries less heat."""
    low, high = state_of(), state_of({"room/altitude_m": 3000})
    assert high.conductance_available_w_per_k < low.conductance_available_w_per_k


def test_three_views_of_one_comparison_agree() -> None:
    """Conductance, rise and area hold with one chance; fans are less sure than a stated flow."""
    fanned, stated = ask({"air": FANS, "heat_w": 250}), ask({"heat_w": 250})

    for actual in (fanned, stated):
        assert len({round(row.chance or 0.0, 9) for row in actual.margins}) == 1
    fan_row, stated_row = (margin_of(actual, "conductance") for actual in (fanned, stated))
    fan_share = (fan_row.standard_uncertainty or 0.0) / fan_row.capacity
    assert fan_share > (stated_row.standard_uncertainty or 0.0) / stated_row.capacity
    assert codes(fanned).count("air_flow_uncertain") == 1
    assert "air_flow_uncertain" not in codes(stated)


def test_example_is_answered_and_echoed() -> None:
    """The published example works, and names the laws of its core."""
    actual = ask_area()

    assert (actual.outcome.status, actual.edition) == ("solved", EDITION)
    laws = {row.quantity for row in actual.basis}
    assert {"louvred core, heat", "radiator effectiveness", "glycol mix properties"} <= laws
