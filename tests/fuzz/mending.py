"""Make schema-valid questions consistent where the schema cannot ask for it.

A JSON Schema bounds each field alone. It cannot say that a curve falls, that tubes fit
their pitch, that pipes form a loop, or that coolant is liquid. What is drawn at random is
moved here by as little as needed; everything that the schema does say stays random.
"""

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

Body = dict[str, Any]

EXAMPLE: Body = json.loads(Path("openapi/examples/steady-state.question.json").read_bytes())
LIQUID_C = 3.0
SOUND: Body = {"kind": "dba", "level_dba": 30.0, "speed_rpm": 1500.0}
POINTERS = ("/room/air_c", "/rest_w", "/pumps/0/speed_rpm", "/coolant_limit_c")
# Share of the range of a field by which points of a curve are kept apart.
GAP = 1e-3


def mended(body: Any) -> Any:  # noqa: ANN401 - any JSON document
    """Return a copy in which parts agree with each other."""
    if isinstance(body, list):
        return [mended(member) for member in body]
    if not isinstance(body, dict):
        return body
    copy = {name: mended(member) for name, member in body.items()}
    for mend in MENDS:
        mend(copy)
    return copy


def spread(values: list[float], low: float, high: float) -> list[float]:
    """Sort values and push them apart inside their limits."""
    gap = (high - low) * GAP
    rising = sorted(values)
    for place in range(1, len(rising)):
        rising[place] = max(rising[place], rising[place - 1] + gap)
    top = high
    for place in reversed(range(len(rising))):
        # Taking gaps off may end a rounding error below the lower limit.
        rising[place] = max(low, min(rising[place], top))
        top = rising[place] - gap
    return rising


def _falling(body: Body, across: tuple[str, float], along: tuple[str, float]) -> None:
    """Let one field of the points of a curve rise and the other fall."""
    points = body.get("curve")
    if not isinstance(points, list) or not points or across[0] not in points[0]:
        return
    flows = spread([point[across[0]] for point in points], 0.0, across[1])
    pressures = spread([point[along[0]] for point in points], 0.0, along[1])[::-1]
    for point, flow, pressure in zip(points, flows, pressures, strict=True):
        point[across[0]], point[along[0]] = flow, pressure


def _pump_curve(body: Body) -> None:
    _falling(body, ("flow_l_per_min", 100.0), ("head_m", 100.0))


def _fan_curve(body: Body) -> None:
    _falling(body, ("air_flow_m3_per_h", 5000.0), ("pressure_pa", 2000.0))


def _efficiency_points(body: Body) -> None:
    points = body.get("points")
    if isinstance(points, list) and points and "load_fraction" in points[0]:
        loads = spread([point["load_fraction"] for point in points], 0.01, 1.0)
        for point, load in zip(points, loads, strict=True):
            point["load_fraction"] = load


def _core(body: Body) -> None:
    """Leave room between tubes, in tubes, and for both passes."""
    if body.get("kind") != "core":
        return
    pitch, fin = body["tube_pitch_mm"], body.get("fin_thickness_mm", 0.08)
    body["tube_thickness_mm"] = min(body["tube_thickness_mm"], pitch - fin - 1.2)
    bore = body["tube_thickness_mm"] - 0.3
    body["tube_wall_mm"] = min(body.get("tube_wall_mm", 0.2), bore / 2.0)
    body["face_height_mm"] = max(body["face_height_mm"], 2.0 * pitch)


def _rating(body: Body) -> None:
    """Keep a rating below what its streams can carry."""
    if body.get("kind") != "rated":
        return
    slowest = 0.02 * 3600.0 * body["face_width_mm"] * body["face_height_mm"] * 1e-6
    for rated in (body, *body["air_pressure_drop"]):
        rated["air_flow_m3_per_h"] = max(rated["air_flow_m3_per_h"], slowest, 10.0)
    air = body["air_flow_m3_per_h"] / 3600.0 * 600.0
    liquid = body["flow_l_per_min"] / 60.0 * 3800.0
    body["conductance_w_per_k"] = min(body["conductance_w_per_k"], 0.4 * min(air, liquid))


def _liquid(body: Body) -> None:
    """Keep rooms and coolants above the freezing point of water."""
    for name in ("air_c", "coolant_c", "coolant_limit_c"):
        if name in body:
            body[name] = max(body[name], LIQUID_C)


def _loop(body: Body) -> None:
    """Join pumps and branches to one loop: side by side, or one after the other."""
    pumps, branches = body.get("pumps"), body.get("branches")
    if not isinstance(pumps, list) or not isinstance(branches, list):
        return
    _join(pumps, "suction", "delivery")
    _join(branches, "delivery", "suction")
    if body.get("reservoir"):
        body["reservoir"]["node"] = "suction"


def _join(links: list[Body], start: str, end: str) -> None:
    """Put links in series when the first one's name is of even length, else in parallel."""
    series = len(links) > 1 and len(links[0].get("name", "")) % 2 == 0
    inner = [f"{start[0]}{number}" for number in range(1, len(links))]
    nodes = [start, *inner, end]
    for number, link in enumerate(links):
        link["from_node"] = nodes[number] if series else start
        link["to_node"] = nodes[number + 1] if series else end


def _radiator(body: Body) -> None:
    """Give a machine a radiator if it has none."""
    if "case" not in body or "branches" not in body:
        return
    elements = [element for branch in body["branches"] for element in branch["elements"]]
    if not any(element["kind"] == "radiator" for element in elements):
        branch = body["branches"][0]
        branch["elements"] = [*branch["elements"][:59], _example_radiator()]


def _excursion(body: Body) -> None:
    """Leave excursions to cards."""
    if body.get("load") in ("processor", "other"):
        body.pop("excursion", None)


def _sound(body: Body) -> None:
    """Give every fan and pump of a machine a sound, if somebody listens to it."""
    if not body.get("listener") or "pumps" not in body:
        return
    elements = [element for branch in body["branches"] for element in branch["elements"]]
    fanned = [element for element in elements if element["kind"] == "radiator"]
    fans = [part["fans"]["fan"] for part in (*fanned, *body["case"].get("fans", ()))]
    for device in (*body["pumps"], *fans):
        device["sound"] = device.get("sound") or dict(SOUND)


def _stores(body: Body) -> None:
    """List parts that the machine has, each once, and fill in what they hold."""
    if "machine" not in body or "axes" in body or "unknown" in body:
        return
    elements = [part for branch in body["machine"]["branches"] for part in branch["elements"]]
    inside = 10.0
    for field, key in (("blocks", "block"), ("radiators", "radiator")):
        names = [part.get("name", key) for part in elements if part["kind"] == key]
        listed = dict(zip(dict.fromkeys(names), body.get(field, ()), strict=False))
        body[field] = [{**store, key: name} for name, store in listed.items()]
        inside += sum(listed.get(name, {}).get("coolant_ml", 100.0) for name in names)
    if body.get("coolant_volume_ml") is not None:
        body["coolant_volume_ml"] = max(body["coolant_volume_ml"], inside)


def _sought(body: Body) -> None:
    """Point axes and unknowns at numbers that every machine has, each at another one."""
    for number, axis in enumerate(body.get("axes", ())):
        body["axes"][number] = _axis(number, axis, 2 if body.get("draws") else 3)
    if "unknown" in body:
        body["unknown"] = _unknown(body["unknown"], body["machine"])
    if "axes" in body:
        body["case_limit"] = 20_000
        body["first_case"] = 0


def _unknown(unknown: Body, machine: Body) -> Body:
    """Look through a range in which the machine can be, or at an element and what stands there."""
    if unknown["kind"] == "alternative":
        listed = [unknown["elements"][0], machine["branches"][0]["elements"][0]]
        return {**unknown, "pointer": "/branches/0/elements/0", "elements": listed}
    ends = unknown.get("lowest", 0.2), unknown.get("highest", 2.0)
    if unknown["kind"] == "factor":
        return {
            **unknown,
            "of": "fan_speeds",
            "lowest": min(*ends, 1.0),
            "highest": max(*ends, 1.1),
        }
    lowest, highest = spread([min(max(end, LIQUID_C), 60.0) for end in ends], LIQUID_C, 60.0)
    return {**unknown, "pointer": POINTERS[0], "lowest": lowest, "highest": highest}


def _axis(number: int, axis: Body, most: int) -> Body:
    """Let the first axis be of any kind, and make the others fields apart from it."""
    if axis["kind"] == "alternative" and not number:
        return {**axis, "pointer": "/branches/0/elements/0", "elements": axis["elements"][:2]}
    values = axis.get("values", [20.0])[:most]
    if axis["kind"] == "factor" and not number:
        return {**axis, "of": "fan_speeds", "values": values}
    return {"kind": "field", "pointer": POINTERS[number], "values": values}


def _fewer_draws(body: Body) -> None:
    """Draw as few cases as the wire allows, for the sake of time."""
    if body.get("draws") is not None:
        body["draws"] = 200
    if "axes" in body and body["machine"].get("uncertainty", {}) is None:
        body["draws"] = None
    if "unknown" in body:
        body["machine"].setdefault("uncertainty", {"draws": 200})


def _example_radiator() -> Body:
    (found, *_) = (
        element
        for branch in EXAMPLE["branches"]
        for element in branch["elements"]
        if element["kind"] == "radiator"
    )
    return dict(found)


MENDS: tuple[Callable[[Body], None], ...] = (
    _pump_curve,
    _fan_curve,
    _efficiency_points,
    _core,
    _rating,
    _liquid,
    _loop,
    _radiator,
    _excursion,
    _sound,
    _stores,
    _sought,
    _fewer_draws,
)
