"""The example machine, and questions about where it ends to hold."""

import json
from pathlib import Path
from typing import Any

import msgspec

from loopmargin_service.questions import solve_for, steady_state
from loopmargin_wire.solve_for import Solution, SolveForAnswer, SolveForQuestion
from loopmargin_wire.steady_state import SteadyStateQuestion

EXAMPLE = Path(__file__).parents[3] / "openapi" / "examples" / "steady-state.question.json"


def machine(**changed: object) -> dict[str, Any]:
    """Read the machine of the example, some fields replaced."""
    document: dict[str, Any] = json.loads(EXAMPLE.read_text())
    document.pop("listener", None)
    return {**document, "uncertainty": None, **changed}


def ask(unknown: dict[str, Any], seek: str, **changed: object) -> SolveForAnswer:
    """Ask for a boundary of the example machine."""
    body = {"machine": machine(**changed), "unknown": unknown, "seek": seek}
    return solve_for.answer(msgspec.convert(body, SolveForQuestion))


def solution(answer: SolveForAnswer) -> Solution:
    """Give the solution that there must be."""
    assert answer.state is not None
    return answer.state


FANS = {"kind": "factor", "of": "fan_speeds"}
RADIATOR = 6
ROOM = {"kind": "field", "pointer": "/room/air_c", "lowest": 15, "highest": 45}
FAN_COUNT = f"/branches/0/elements/{RADIATOR}/fans/count"
COUNT = {"kind": "field", "pointer": FAN_COUNT, "lowest": 1, "highest": 6}


def radiators(*heights_mm: float) -> dict[str, Any]:
    """List the example's radiator with faces of other heights, each with a name of its own."""
    element = machine()["branches"][0]["elements"][RADIATOR]
    elements = [
        {
            **element,
            "name": f"{height:g} mm high",
            "radiator": {**element["radiator"], "face_height_mm": height},
        }
        for height in heights_mm
    ]
    pointer = f"/branches/0/elements/{RADIATOR}"
    return {"kind": "alternative", "pointer": pointer, "elements": elements}


def quiet(warm: float, loud: float) -> dict[str, Any]:
    """Give the limits that the machine just meets at two factors on its fan speeds."""
    document = machine(listener=json.loads(EXAMPLE.read_text())["listener"])
    states = []
    for factor in (warm, loud):
        fans = document["branches"][0]["elements"][RADIATOR]["fans"]
        fans["speed_rpm"] = 900.0 * factor
        answer = steady_state.answer(msgspec.convert(document, SteadyStateQuestion))
        assert answer.state is not None
        states.append(answer.state)
    slow, fast = states
    assert fast.noise is not None
    level = fast.noise.level_dba
    listener = {**document["listener"], "allowed_dba": level}
    return {"coolant_limit_c": slow.coolant_hottest_c, "listener": listener}


def mute(unknown: dict[str, Any], *numbers: int) -> dict[str, Any]:
    """Take the sound of the fans off some elements."""
    changed: dict[str, Any] = json.loads(json.dumps(unknown))
    for number in numbers:
        del changed["elements"][number]["fans"]["fan"]["sound"]
    return changed
