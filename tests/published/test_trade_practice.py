"""A fact of the trade, common practice, no source, met by plausible parts.

The fact: a compact machine with one copper radiator of 280 mm x 140 mm x 30 mm and two
140 mm fans at about 1000 rpm, its pump at half duty, in a room at 21 degC, with processor
and graphics card together drawing between 280 W and 355 W, settles at a coolant
temperature between 35 degC and 40 degC.

What it leaves open is assumed here, from the middle of the range that such parts have,
and all of it is invented: fans of 85 m3/h and 8 Pa at 1000 rpm (140 mm fans have 70 to
100 m3/h and 6 to 10 Pa); 14 fins to the inch, as for slow fans; a mesh of 80 % free area;
air drawn in from the room and let out through vents; plain water; a pump of 4.1 m and
15 L/min at full speed, run at half of it; two thirds of the power in the card; all of it
into the coolant; another 62 W into the case air. No physical constant was touched. The
fact does not say where the coolant was measured, so its mean is compared. With fans at the
weak end of the range the machine would settle 4 K warmer, at the strong end 2 K cooler.
"""

import json
from pathlib import Path
from typing import Any

import msgspec
import pytest

from loopmargin_service.questions import steady_state
from loopmargin_wire.steady_state import SteadyStateQuestion

EXAMPLE = Path(__file__).parents[2] / "openapi" / "examples" / "steady-state.question.json"

FAN = {
    "name": "140 mm fan",
    "curve": [
        {"air_flow_m3_per_h": 0, "pressure_pa": 8},
        {"air_flow_m3_per_h": 38, "pressure_pa": 5.6},
        {"air_flow_m3_per_h": 68, "pressure_pa": 2.6},
        {"air_flow_m3_per_h": 85, "pressure_pa": 0},
    ],
    "curve_speed_rpm": 1000,
    "electrical_power_w": 0.5,
}


def compact_machine(power_w: float) -> SteadyStateQuestion:
    """Describe the machine of the fact with the parts assumed above."""
    question: dict[str, Any] = json.loads(EXAMPLE.read_text())
    question["room"] = {"air_c": 21}
    del question["listener"]
    question["coolant"] = {"kind": "water"}
    question["pumps"][0]["speed_rpm"] = 0.5 * question["pumps"][0]["curve_speed_rpm"]
    for element in question["branches"][0]["elements"]:
        if element["kind"] == "block":
            share = 0.65 if element["load"] == "card" else 0.35
            element.update(power_w=share * power_w, captured_fraction=1.0)
        if element["kind"] == "radiator":
            element["radiator"].update(face_width_mm=280, face_height_mm=140, fins_per_inch=14)
            element["fans"] = {"fan": FAN, "count": 2, "speed_rpm": 1000}
            element["grille"] = {"kind": "free_area", "free_area_fraction": 0.8}
    return msgspec.convert(question, SteadyStateQuestion)


@pytest.mark.parametrize("power_w", [280.0, 318.0, 355.0])
def test_compact_machine_settles_between_35_and_40_degrees(power_w: float) -> None:
    """The coolant of the compact machine settles where the trade sees it settle."""
    state = steady_state.answer(compact_machine(power_w)).state

    assert state is not None
    assert 35.0 <= state.coolant_mean_c <= 40.0
    assert state.components[0].heat_to_coolant_w + state.components[1].heat_to_coolant_w == power_w
