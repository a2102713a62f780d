"""Where an answer bends, the linear method is rejected by the check in the answer itself."""

import copy
from typing import Any

import msgspec
import pytest

from loopmargin_service.questions import pump_head
from loopmargin_wire.pump_head import PumpHeadQuestion
from loopmargin_wire.uncertainty import Spread

TUBE = {"kind": "tube", "bore_mm": 6, "length_mm": 3000}
LOOP: dict[str, Any] = {
    "coolant": {"kind": "water"},
    "coolant_c": 25,
    "room": {"air_c": 25},
    "required_flow_l_per_min": 0.5,
    "branches": [{"name": "loop", "elements": [TUBE]}],
    "pumps": [
        {
            "name": "pump",
            "from_node": "suction",
            "to_node": "delivery",
            "curve": [
                {"flow_l_per_min": 0, "head_m": 0.3},
                {"flow_l_per_min": 8, "head_m": 0.01},
            ],
            "curve_speed_rpm": 3000,
            "speed_rpm": 3000,
            "electrical_power_w": 2,
        }
    ],
    "uncertainty": {"draws": 2000},
}
KNEE = [
    {"flow_l_per_min": 0, "head_m": 2.0},
    {"flow_l_per_min": 6, "head_m": 1.9},
    {"flow_l_per_min": 6.3, "head_m": 0.05},
]


def flow(document: dict[str, Any]) -> Spread:
    """Give the spread of the flow of a loop."""
    state = pump_head.answer(msgspec.convert(document, PumpHeadQuestion)).state
    assert state is not None
    assert state.simulation is not None
    return state.simulation.spreads[0]


def between_laminar_and_turbulent(pump_speed: float) -> dict[str, Any]:
    """Give a tube at a Reynolds number of 3500, and a pump whose speed is known so well."""
    document = copy.deepcopy(LOOP)
    document["uncertainty"]["pump_speed"] = pump_speed
    return document


def at_the_knee(length_mm: float) -> dict[str, Any]:
    """Give a pump whose curve falls off at 6 L/min, with more or less tube."""
    document = copy.deepcopy(LOOP)
    document["branches"][0]["elements"] = [{**TUBE, "bore_mm": 10, "length_mm": length_mm}]
    document["pumps"][0]["curve"] = KNEE
    document["uncertainty"]["friction_law"] = 0.3
    return document


@pytest.mark.parametrize(
    ("document", "agrees"),
    [
        (between_laminar_and_turbulent(0.1), False),
        (between_laminar_and_turbulent(0.03), True),
        (at_the_knee(6000), False),
        (at_the_knee(2000), True),
    ],
)
def test_the_check_rejects_what_bends(document: dict[str, Any], *, agrees: bool) -> None:
    """A switch of the flow and a knee of the pump's curve are rejected once draws reach them."""
    assert flow(document).linear_agrees is agrees


def test_friction_between_the_regimes_is_a_law_of_its_own() -> None:
    """It leads the budget there, and is not drawn as if the flow were turbulent."""
    leading = flow(between_laminar_and_turbulent(0.03)).budget[0]
    assert (leading.cause, leading.kind) == ("law of friction, transitional", "law")
