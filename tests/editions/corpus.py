"""A fixed corpus of questions, all invented: each example of the document, and variations of it.

A question keeps its name for good; new ones are added at the end of its list. What varies is
what a shop varies: room, speeds, powers, parts, coolant, limits.
"""

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any, NamedTuple

EXAMPLES = Path(__file__).parents[2] / "openapi" / "examples"
Document = dict[str, Any]
RADIATOR = "/branches/0/elements/6"

VARIATIONS: dict[str, dict[str, dict[str, object]]] = {
    "radiator-area": {
        "cooler room": {"/room/air_c": 19.0},
        "more heat": {"/heat_w": 520.0},
        "cold water": {"/coolant": {"kind": "water"}, "/flow_l_per_min": 1.2},
        "thin air": {"/room/altitude_m": 2500.0},
    },
    "pump-head": {
        "slow pump": {"/pumps/0/speed_rpm": 2000.0},
        "narrow tube": {"/branches/0/elements/0/bore_mm": 7.0},
        "water": {"/coolant": {"kind": "water"}},
        "cool coolant": {"/coolant_c": 15.0},
        "far too fast pump": {"/pumps/0/speed_rpm": 9000.0},
    },
    "supply-headroom": {
        "low mains": {"/supply/mains_voltage_v": 115.0},
        "small supply": {"/supply/rated_w": 450.0},
    },
    "steady-state": {
        "cool room": {"/room/air_c": 18.0},
        "hot room on a mountain": {"/room/air_c": 34.0, "/room/altitude_m": 1800.0},
        "slow fans": {f"{RADIATOR}/fans/speed_rpm": 650.0},
        "fast fans": {f"{RADIATOR}/fans/speed_rpm": 1600.0},
        "slow pump": {"/pumps/0/speed_rpm": 2200.0},
        "hot card": {"/branches/0/elements/2/power_w": 320.0},
        "water": {"/coolant": {"kind": "water"}},
        "deep core": {f"{RADIATOR}/radiator/depth_mm": 45.0},
        "runs away": {"/branches/0/elements/2/power_w": 1500.0},
    },
    "noise": {
        "nearer": {"/listener/distance_m": 0.5},
        "quiet room": {"/listener/background_dba": 15.0},
    },
    "warm-up": {
        "cool room": {"/machine/room/air_c": 18.0},
        "more coolant": {"/coolant_volume_ml": 1400.0},
    },
    "sweep": {
        "drawn": {"/draws": 400},
    },
    "solve-for": {},
}


class Entry(NamedTuple):
    """One question of the corpus."""

    route: str
    name: str
    body: Document


def corpus() -> Iterator[Entry]:
    """Give every question."""
    for route, variations in VARIATIONS.items():
        text = (EXAMPLES / f"{route}.question.json").read_text()
        yield Entry(route, f"{route}: as in the document", json.loads(text))
        for name, changes in variations.items():
            body = json.loads(text)
            for pointer, value in changes.items():
                _put(body, pointer, value)
            yield Entry(route, f"{route}: {name}", body)


def _put(body: Document, pointer: str, value: object) -> None:
    """Put a value where a pointer leads; the place must exist, or be a field with a default."""
    *steps, last = pointer[1:].split("/")
    place: Any = body
    for step in steps:
        place = place[int(step)] if isinstance(place, list) else place[step]
    place[int(last) if isinstance(place, list) else last] = value
