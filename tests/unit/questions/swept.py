"""Sweeps of the example machine, and axes for them."""

import json
from pathlib import Path
from typing import Any

import msgspec

from loopmargin_wire.sweep import SweepQuestion

EXAMPLE = Path(__file__).parents[3] / "openapi" / "examples" / "steady-state.question.json"


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
