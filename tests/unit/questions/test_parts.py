"""Parts of the wire as physics objects: units, and what contradicts itself."""

import msgspec
import numpy as np
import pytest

from loopmargin_service.physics.curve import value_and_slope
from loopmargin_service.questions import curves, parts
from loopmargin_service.questions.conversion import L_PER_MIN, M3_PER_H
from loopmargin_service.questions.refusals import Refusal
from loopmargin_wire import part
from tests.unit.questions.asked import fault_of

WATER = {"kind": "water"}


def pump(*points: tuple[float, float]) -> part.Pump:
    """Give a pump by points of flow and head."""
    curve = tuple(part.HeadPoint(flow_l_per_min=x, head_m=y) for x, y in points)
    return part.Pump(curve=curve, curve_speed_rpm=3000.0, speed_rpm=3000.0)


def fan(*points: tuple[float, float]) -> part.Fan:
    """Give a fan by points of air flow and pressure."""
    curve = tuple(part.FanPoint(air_flow_m3_per_h=x, pressure_pa=y) for x, y in points)
    return part.Fan(curve=curve, curve_speed_rpm=1500.0)


def drop(**given: object) -> parts.MeasuredDrop:
    """Reduce a pressure drop."""
    return parts.measured_drop(msgspec.convert(given, part.PressureDrop), ("here",))


@pytest.mark.parametrize(
    ("given", "expected"),
    [
        (part.Water(), ("water", 0.0)),
        (part.EthyleneGlycol(mass_fraction=0.3), ("ethylene_glycol", 0.3)),
        (part.PropyleneGlycol(mass_fraction=0.2), ("propylene_glycol", 0.2)),
    ],
)
def test_mix(given: part.Coolant, expected: tuple[str, float]) -> None:
    """A coolant is a fluid and a mass fraction."""
    assert expected == parts.mix(given)


def test_water_freezes_at_zero_and_glycol_below() -> None:
    """Every coolant that is not above its freezing point is refused, with that point."""
    assert parts.freezing_c(parts.Mix("water", 0.0)) == pytest.approx(0.0, abs=1e-9)
    glycol = parts.Mix("propylene_glycol", 0.4)
    parts.above_freezing(glycol, -15.0, ("coolant_c",))

    with pytest.raises(Refusal) as caught:
        parts.above_freezing(glycol, -30.0, ("coolant_c",))

    freezing = f"{parts.freezing_c(glycol):.1f} degC"
    where, sentence = fault_of(caught.value)
    assert where == "coolant_c"
    assert all(words in sentence for words in ("-30 degC", freezing, "more glycol"))


def test_density_of_water_at_20() -> None:
    """Water of 20 degC has 998.2 kg/m3 (IAPWS SR6-08(2011))."""
    assert parts.liquid(parts.Mix("water", 0.0), 20.0).density[0] == pytest.approx(998.2, abs=0.05)


def test_curves_pass_through_their_points() -> None:
    """Flows become cubic metres per second, head and pressure stay as they are."""
    pumped = curves.pump_curve(pump((0, 4), (6, 3), (12, 0.5)), ("pumps", 0))
    blown = curves.fan_curve(fan((0, 20), (60, 12), (120, 0)), ("fan",))

    assert float(value_and_slope(pumped, 6 * L_PER_MIN)[0]) == pytest.approx(3.0)
    assert float(value_and_slope(blown, 60 * M3_PER_H)[0]) == pytest.approx(12.0)


@pytest.mark.parametrize(
    ("points", "where", "fragments"),
    [
        ([(0, 4), (8, 3), (6, 2)], "curve/2/{flow}", ["6", "8", "rising flow"]),
        ([(0, 4), (8, 3), (8, 2)], "curve/2/{flow}", ["8", "rising flow", "once"]),
        ([(0, 4), (4, 4.5), (8, 2)], "curve/1/{head}", ["4.5", "4", "leave out"]),
        ([(0, 4), (4, 4), (8, 2)], "curve/1/{head}", ["level", "4", "leave out"]),
        ([(12, 0), (6, 3), (0, 4)], "curve/1/{flow}", ["6", "12", "rising flow"]),
    ],
)
def test_curves_that_do_not_fall(
    points: list[tuple[float, float]], where: str, fragments: list[str]
) -> None:
    """The first point out of order is named, with its value, the limit and what to do."""
    with pytest.raises(Refusal) as pump_refused:
        curves.pump_curve(pump(*points), ("pumps", 0))
    with pytest.raises(Refusal) as fan_refused:
        curves.fan_curve(fan(*points), ("fan",))

    pump_at, pump_says = fault_of(pump_refused.value)
    fan_at, fan_says = fault_of(fan_refused.value)
    assert pump_at == "pumps/0/" + where.format(flow="flow_l_per_min", head="head_m")
    assert fan_at == "fan/" + where.format(flow="air_flow_m3_per_h", head="pressure_pa")
    assert [words for words in fragments if words not in pump_says or words not in fan_says] == []


def test_pressure_drop_by_coefficients() -> None:
    """1 kPa at 1 L/min is 6e7 Pa s/m3 in proportion, 3.6e12 Pa s2/m6 in the square."""
    terms = drop(
        kind="coefficients",
        linear_kpa_per_l_per_min=1.0,
        quadratic_kpa_per_l_per_min2=1.0,
        measured_with=WATER,
    )

    assert (terms.linear, terms.quadratic) == pytest.approx((6e7, 3.6e12))
    assert terms.density == pytest.approx(998.2, abs=0.05)
    assert terms.viscosity == pytest.approx(1.0016e-3, abs=5e-8)


def test_pressure_drop_by_flow_coefficient() -> None:
    """Kv is the flow of water of 1000 kg/m3 in m3/h at 1 bar (IEC 60534-1)."""
    terms = drop(kind="kv", kv_m3_per_h=0.5)

    assert terms.quadratic * (0.5 / 3600.0) ** 2 == pytest.approx(1e5)
    assert (terms.linear, terms.density) == (0.0, 1000.0)


def test_pressure_drop_by_points() -> None:
    """Points on a parabola give it back."""
    points = [{"flow_l_per_min": q, "pressure_drop_kpa": 0.2 * q + 0.1 * q * q} for q in (1, 2, 4)]
    terms = drop(kind="points", points=points, measured_with=WATER, measured_at_c=40)

    assert (terms.linear, terms.quadratic) == pytest.approx((0.2 * 6e7, 0.1 * 3.6e12))
    assert terms.density == pytest.approx(992.2, abs=0.05)


def test_coolant_frozen_while_measured() -> None:
    """A measurement below the freezing point of its coolant is refused where it says so."""
    given = part.DropCoefficients(
        linear_kpa_per_l_per_min=1.0,
        quadratic_kpa_per_l_per_min2=1.0,
        measured_with=part.Water(),
        measured_at_c=-1.0,
    )

    with pytest.raises(Refusal) as caught:
        parts.measured_drop(given, ("elements", 3, "pressure_drop"))

    where, sentence = fault_of(caught.value)
    assert where == "elements/3/pressure_drop/measured_at_c"
    assert all(words in sentence for words in ("-1 degC", "0.0 degC", "warmer coolant"))


@pytest.mark.parametrize(
    ("given", "expected"),
    [
        (None, 0.0),
        (part.LossCoefficient(loss_coefficient=7.5), 7.5),
        (part.FreeArea(free_area_fraction=0.5), 3.8),
        (part.FreeArea(free_area_fraction=0.5, form="wire_mesh"), 0.7 * 0.75 / 0.25),
    ],
)
def test_loss_of_grilles(given: part.Grille | None, expected: float) -> None:
    """Half open, a plate costs 3.8 and a mesh at Re 100 costs 2.1 velocity heads (Blevins 1984)."""
    assert expected == pytest.approx(parts.loss_coefficient(given))


def test_air_pressure_of_a_room() -> None:
    """101325 Pa at sea level, 89874.6 Pa at 1000 m (ISO 2533, table 5: 898.746 hPa)."""
    high = part.Room(air_c=20.0, altitude_m=1000.0)

    assert parts.room_pressure(part.Room(air_c=20.0)) == 101325.0
    assert parts.room_pressure(high) == pytest.approx(89874.6, abs=2.0)


@pytest.mark.parametrize(
    "points",
    [
        [(0, 4), (1e-300, 3), (8, 2)],
        [(0, 4), (1e-100, 3)],
        [(0, 4), (1, 1e-320), (8, 0)],
        [(0, 4), (np.nextafter(4, 0), 3), (4, 2)],
    ],
)
def test_points_that_nearly_coincide(points: list[tuple[float, float]]) -> None:
    """Points closer than any measurement are refused at one of them, or make a finite curve."""
    try:
        curve = curves.pump_curve(pump(*points), ("pumps", 0))
    except Refusal as refusal:
        refused = fault_of(refusal)[0].startswith("pumps/0/curve/")
    else:
        refused = False
        inside = value_and_slope(curve, np.linspace(0.0, points[-1][0], 45) * L_PER_MIN)[0]
        assert points[-1][1] - 1e-9 <= inside.min()
        assert inside.max() <= points[0][1] + 1e-9
        beyond = value_and_slope(curve, np.array([-2.0, 20.0]) * L_PER_MIN)
    assert refused or np.isfinite(beyond).all()
