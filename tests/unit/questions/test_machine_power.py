"""What a machine takes and where that goes: its supply asked by hand, and heat that balances."""

from typing import Any

import msgspec
import numpy as np
import pytest
from hypothesis import Phase, given, settings

from loopmargin_service.questions import steady_state, supply_headroom, sweep_cases, warm_up
from loopmargin_service.questions.refusals import Refusal
from loopmargin_wire.answer import Margin
from loopmargin_wire.steady_state import MachineState, SteadyStateAnswer, SteadyStateQuestion
from loopmargin_wire.supply_headroom import SupplyHeadroomQuestion
from loopmargin_wire.sweep import SweepQuestion
from loopmargin_wire.warm_up import WarmUpQuestion
from tests.unit.questions.asked import Changes, changed, codes, fault_of, margin_of
from tests.unit.questions.invented import BASE, ELEMENTS, machines

FEW = settings(
    derandomize=True, deadline=None, max_examples=15, phases=(Phase.explicit, Phase.generate)
)
CARD, PROCESSOR, RADIATOR = (f"{ELEMENTS}/{place}" for place in (2, 3, 6))
DRAWN = {"draws": 300, "seed": "0f" * 16}
SUPPLY_ROWS = 7
# Dry air: gas constant and heat capacity at room temperature. [J/(kg K)]
GAS_CONSTANT, HEAT_CAPACITY = 287.05, 1006.5
SEA_LEVEL_PA = 101_325.0


def ask(document: dict[str, Any], changes: Changes | None = None) -> SteadyStateAnswer:
    """Ask a machine with some changes."""
    return steady_state.answer(msgspec.convert(changed(document, changes), SteadyStateQuestion))


def solved(document: dict[str, Any], changes: Changes | None = None) -> MachineState:
    """Solve a machine that must work."""
    state = ask(document, changes).state
    assert state is not None
    return state


def cubed(part: dict[str, Any], device: dict[str, Any]) -> float:
    """Give the power of a motor at the speed that it runs at."""
    ratio: float = part["speed_rpm"] / device["curve_speed_rpm"]
    return float(device["electrical_power_w"]) * ratio**3


def by_hand(document: dict[str, Any], state: MachineState) -> dict[str, Any]:
    """Write the supply question that a person would ask beside a machine."""
    elements = document["branches"][0]["elements"]
    blocks = [element for element in elements if element["kind"] == "block"]
    fans = [
        element["fans"] for element in (*elements, *document["case"]["fans"]) if "fans" in element
    ]
    taken = sum(
        max(cubed(pump, pump), said.hydraulic_power_w)
        for pump, said in zip(document["pumps"], state.pumps, strict=True)
    )
    taken += sum(one["count"] * cubed(one, one["fan"]) for one in fans)
    (processor,) = (block for block in blocks if block["load"] == "processor")
    return {
        "processor": _load(processor, name="processor"),
        "cards": [_card(block) for block in blocks if block["load"] == "card"],
        "others": [_load(block) for block in blocks if block["load"] == "other"],
        "rest_w": document["rest_w"] + taken,
        "supply": document["supply"],
        "inlet_c": state.case.air_c
        if document["supply_air"] == "case"
        else document["room"]["air_c"],
        "uncertainty": DRAWN,
    }


def _load(block: dict[str, Any], **renamed: str) -> dict[str, Any]:
    same = {"name": block["name"], "peak_over_sustained": block["peak_over_sustained"]}
    return {**same, "sustained_w": block["power_w"], **renamed}


def _card(block: dict[str, Any]) -> dict[str, Any]:
    """Give a card with what it is said to peak at, by the law of the add-in card standard."""
    peaks = [3.0, 2.5, 2.0, 1.5]
    said = block["excursion"] or {"kind": "add_in_card_limit"}
    if said["kind"] == "none":
        peaks = [1.0] * 4
    names = [f"peak_over_sustained_{window}" for window in ("100_us", "1_ms", "10_ms", "100_ms")]
    if said["kind"] == "measured":
        # No longer window can average more than a shorter one.
        stated = [said[name] for name in names]
        peaks = [max(stated[row:]) for row in range(4)]
    raised = [max(peak, block["peak_over_sustained"]) for peak in peaks[:3]] + peaks[3:]
    return {
        "name": block["name"],
        "sustained_w": block["power_w"],
        "excursion": {"kind": "measured", **dict(zip(names, raised, strict=True))},
    }


@FEW
@given(document=machines())
def test_supply_is_the_one_asked_by_hand(document: dict[str, Any]) -> None:
    """Margins, chances and draws of the supply are those of `supply-headroom` asked by hand."""
    together = ask({**document, "uncertainty": DRAWN})
    assert together.state is not None
    alone = supply_headroom.answer(
        msgspec.convert(by_hand(document, together.state), SupplyHeadroomQuestion)
    )

    rows = together.margins[-SUPPLY_ROWS:]
    if document["listener"]:
        assert together.margins[-SUPPLY_ROWS - 1].criterion.startswith("noise")
    assert [numbers(row) for row in rows] == [
        (row.criterion, row.verdict, pytest.approx(numbers(row)[2], rel=1e-9))
        for row in alone.margins
    ]
    assert together.state.dc_power_w == pytest.approx(alone.state.sustained_w, rel=1e-12)


def numbers(row: Margin) -> tuple[str, str, list[float]]:
    """Give everything that a margin says."""
    drawn = (row.chance, row.chance_standard_error, row.standard_uncertainty)
    known = [value for value in drawn if value is not None]
    return row.criterion, row.verdict, [row.demand, row.capacity, *known]


@FEW
@given(document=machines())
def test_what_comes_in_goes_out(document: dict[str, Any]) -> None:
    """Mains power is the heat of radiators, case air, fans outside the case, and the supply."""
    state = solved(document)
    heat = state.heat

    assert state.wall_power_w == heat.to_room_w
    ways = heat.radiators_to_air_w + heat.to_case_air_w + heat.fans_to_room_w
    assert ways + heat.residual_w + heat.supply_to_room_w == pytest.approx(heat.to_room_w, rel=1e-9)
    pumps = sum(pump.electrical_power_w for pump in state.pumps)
    assert heat.pumps_to_coolant_w <= pumps * (1.0 + 1e-9)
    carried = sum(_carried_out(document, state))
    assert carried == pytest.approx(heat.radiators_to_air_w + heat.to_case_air_w, rel=3e-3)


def _carried_out(document: dict[str, Any], state: MachineState) -> Any:  # noqa: ANN401 - floats
    """Give the heat in every stream of air that leaves for the room, over the room's."""
    room_c = document["room"]["air_c"]
    elements = document["branches"][0]["elements"]
    placed = [element["air_path"] for element in elements if element["kind"] == "radiator"]
    for path, radiator in zip(placed, state.radiators, strict=True):
        if path == "outside":
            yield radiator.heat_w
        elif (radiator.air_flow_m3_per_h > 0.0) == (path == "exhaust"):
            stream = _stream(radiator.air_flow_m3_per_h, radiator.air_in_c)
            yield stream * (radiator.air_out_c - room_c)
    for way in state.case.paths:
        if way.air_flow_m3_per_h < 0.0:
            yield _stream(way.air_flow_m3_per_h, state.case.air_c) * (state.case.air_c - room_c)


def _stream(air_flow_m3_per_h: float, air_c: float) -> float:
    """Give the capacity rate of an air stream. [W/K]"""
    density = SEA_LEVEL_PA / (GAS_CONSTANT * (air_c + 273.15))
    return abs(air_flow_m3_per_h) / 3600.0 * density * HEAT_CAPACITY


def test_pump_beside_the_coolant_warms_the_case() -> None:
    """What of 16 W at (2900/4800)^3 is not the coolant's reaches the case air, watt for watt."""
    pump = 16.0 * (2900 / 4800) ** 3
    heats = {
        share: solved(BASE, {"pumps/0/heat_to_coolant_fraction": share}).heat
        for share in (0.0, 0.5, 1.0)
    }

    work = heats[0.0].pumps_to_coolant_w
    assert 0.0 < work < 0.5 * pump
    assert heats[0.5].pumps_to_coolant_w == pytest.approx(0.5 * pump)
    assert heats[1.0].pumps_to_coolant_w == pytest.approx(pump)
    for heat in heats.values():
        beside = heat.to_case_air_w - heats[1.0].to_case_air_w
        assert beside == pytest.approx(pump - heat.pumps_to_coolant_w)


def test_warm_up_ends_where_the_machine_settles() -> None:
    """The case air that pumps warm is the same in time: an exhausting radiator feels it."""
    hot = {
        f"{RADIATOR}/air_path": "exhaust",
        "pumps/0/electrical_power_w": 200.0,
        "pumps/0/heat_to_coolant_fraction": 0.1,
    }
    state = solved(BASE, hot)
    document = {"machine": changed(BASE, hot)}
    moving = warm_up.answer(msgspec.convert(document, WarmUpQuestion)).state

    assert moving is not None
    assert moving.coolant.equilibrium_c == pytest.approx(state.coolant_hottest_c, abs=0.05)
    without = solved(BASE, {**hot, "pumps/0/electrical_power_w": 0.0})
    assert state.coolant_hottest_c > without.coolant_hottest_c + 1.0


def test_axis_over_a_pump_carries_its_power() -> None:
    """A faster pump takes more, and a sweep has the case air of each speed asked alone."""
    hot = changed(
        BASE, {f"{RADIATOR}/air_path": "exhaust", "pumps/0/heat_to_coolant_fraction": 0.0}
    )
    speeds = [2000.0, 3000.0, 4800.0]
    axes = [{"kind": "field", "pointer": "/pumps/0/speed_rpm", "values": speeds}]
    asked = msgspec.convert({"machine": hot, "axes": axes}, SweepQuestion)
    block = sweep_cases.solve(asked, 0, len(speeds))

    alone = [solved(hot, {"pumps/0/speed_rpm": speed}).case.air_c for speed in speeds]
    assert block.numbers[3].tolist() == pytest.approx(alone, abs=1e-9)
    assert np.all(np.diff(alone) > 0.0)


def test_supply_that_breathes_the_case_leaves_its_heat_outside() -> None:
    """The loss of the supply goes out with its own air, wherever that came from."""
    room, case = (solved(BASE, {"supply_air": place}) for place in ("room", "case"))
    assert room.heat == case.heat
    assert room.case == case.case


@pytest.mark.parametrize(("peak", "factor"), [(1.0, 3.0), (1.8, 3.0), (3.6, 3.6)])
def test_peak_of_a_card_is_no_less_than_its_limit(peak: float, factor: float) -> None:
    """The higher one of stated peak and limit counts; a peak that counts nowhere is noted."""
    plain, peaked = ask(BASE), ask(BASE, {f"{CARD}/peak_over_sustained": peak})

    row = "power, 100 us"
    more = margin_of(peaked, row).demand - margin_of(plain, row).demand
    assert more == pytest.approx(220.0 * (factor - 3.0))
    assert ("card_peak_below_its_excursion" in codes(peaked)) == (1.0 < peak < 3.0)


def test_measured_peaks_of_a_card_count_instead_of_its_limit() -> None:
    """A card that was measured to peak less leaves more of the supply."""
    measured = {
        "kind": "measured",
        **{f"peak_over_sustained_{t}": 1.4 for t in ("100_us", "1_ms", "10_ms", "100_ms")},
    }
    plain, known = ask(BASE), ask(BASE, {f"{CARD}/excursion": measured})

    row = "power, 100 us"
    less = margin_of(plain, row).demand - margin_of(known, row).demand
    assert less == pytest.approx(220.0 * (3.0 - 1.4))


def test_only_cards_have_an_excursion() -> None:
    """A processor's peak is said in another field."""
    with pytest.raises(Refusal, match="only cards have an excursion") as refused:
        ask(BASE, {f"{PROCESSOR}/excursion": {"kind": "none"}})
    assert fault_of(refused.value)[0] == f"{PROCESSOR}/excursion"


def test_pump_of_no_stated_power_takes_its_work() -> None:
    """Nobody's pump runs on nothing: its work is counted, and the missing power is noted."""
    actual = ask(BASE, {"pumps/0/electrical_power_w": 0.0})

    assert actual.state is not None
    (pump,) = actual.state.pumps
    assert pump.electrical_power_w == pump.hydraulic_power_w > 0.0
    heat = actual.state.heat
    given = heat.parts_to_coolant_w + heat.pumps_to_coolant_w + heat.to_case_air_w
    assert given == pytest.approx(actual.state.dc_power_w, rel=1e-9)
    assert "pump_power_below_its_work" in codes(actual)
