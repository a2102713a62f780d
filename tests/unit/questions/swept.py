"""Sweeps of the example machine, and axes for them."""

import json
from pathlib import Path
from typing import Any

import msgspec
import numpy as np

from loopmargin_service.questions import sweep
from loopmargin_wire.sweep import Grid, SweepQuestion
from tests.unit.questions.asked import changed

EXAMPLE = Path(__file__).parents[3] / "openapi" / "examples" / "steady-state.question.json"
DRAWS = 200
SEED = "5" * 32
CARD, PROCESSOR = "part card 1", "part processor 2"
CARD_W, PROCESSOR_W = "branches/0/elements/2/power_w", "branches/0/elements/3/power_w"
FAN_RPM = "branches/0/elements/6/fans/speed_rpm"


def machine() -> dict[str, Any]:
    """Read the machine of the example, without what a sweep leaves out."""
    document: dict[str, Any] = json.loads(EXAMPLE.read_text())
    document.pop("listener", None)
    return document


def asked(*axes: dict[str, Any], **fields: int) -> SweepQuestion:
    """Ask for a sweep of the example machine."""
    return msgspec.convert({"machine": machine(), "axes": list(axes), **fields}, SweepQuestion)


FANS = {"kind": "factor", "of": "fan_speeds", "values": [0.4, 0.7, 1.0, 1.3]}
ROOM = {"kind": "field", "pointer": "/room/air_c", "values": [18.0, 35.0, 99.0]}
BORE = {"kind": "field", "pointer": "/branches/0/elements/0/bore_mm", "values": [8.0, 10.0]}


def radiators() -> dict[str, Any]:
    """Write an axis over the example's radiator and one that is smaller by half."""
    for number, element in enumerate(machine()["branches"][0]["elements"]):
        if element["kind"] == "radiator":
            smaller = json.loads(json.dumps(element))
            smaller["radiator"]["face_width_mm"] /= 2
            pointer = f"/branches/0/elements/{number}"
            return {"kind": "alternative", "pointer": pointer, "elements": [element, smaller]}
    raise AssertionError


def about(changes: dict[str, Any], *axes: dict[str, Any], **fields: int) -> SweepQuestion:
    """Ask for a drawn sweep of the example machine with some places changed."""
    fields = {"draws": DRAWS, **fields}
    body = {"machine": changed(machine(), changes), "axes": list(axes), **fields}
    return msgspec.convert(body, SweepQuestion)


def grid(question: SweepQuestion) -> Grid:
    """Answer it whole."""
    return sweep.answer(question).state


def column(state: Grid, name: str) -> np.ndarray:
    """Give one column in the shape of the grid, NaN where there is no number."""
    values = next(row.values for row in state.columns if row.name == name)
    return np.array(values, dtype=np.float64).reshape(state.shape)


def values(question: SweepQuestion, name: str) -> np.ndarray:
    """Give one column of an answer."""
    return column(grid(question), name)


def turned(pointer: str, *numbers: float) -> dict[str, Any]:
    """Write an axis over one field."""
    return {"kind": "field", "pointer": pointer, "values": list(numbers)}


def scaled(of: str, *numbers: float) -> dict[str, Any]:
    """Write an axis over a group of fields."""
    return {"kind": "factor", "of": of, "values": list(numbers)}


def number(path: str) -> float:
    """Read one number of the example machine, given as `room/air_c`."""
    place: Any = machine()
    for step in path.split("/"):
        place = place[int(step)] if isinstance(place, list) else place[step]
    return float(place)
