"""Invented machines of two cards, a processor and another load, in any mood."""

from typing import Any

from hypothesis import strategies as st

from tests.unit.questions.asked import changed, example

ELEMENTS = "branches/0/elements"
BASE = changed(example("steady-state"), {"uncertainty": None})
TUBE, _, CARD, PROCESSOR, _, _, RADIATOR, *_ = BASE["branches"][0]["elements"]
CASE_FANS = {
    "name": "rear fan",
    "fans": {**RADIATOR["fans"], "count": 1, "speed_rpm": 700},
    "area_cm2": 120,
}
# The blocks in the order in which they are put into the branch.
LOADS = ("card", "card", "processor", "other")
PEAKS = st.floats(1.0, 4.0)
MEASURED = st.fixed_dictionaries(
    {
        "kind": st.just("measured"),
        **{
            f"peak_over_sustained_{window}": st.floats(1.0, 6.0)
            for window in ("100_us", "1_ms", "10_ms", "100_ms")
        },
    }
)
EXCURSIONS = st.none() | st.sampled_from([{"kind": "none"}, {"kind": "add_in_card_limit"}])


@st.composite
def machines(draw: st.DrawFn) -> dict[str, Any]:
    """Draw a machine that works, as it would come in."""
    blocks = [_block(draw, number, load) for number, load in enumerate(LOADS)]
    paths = st.sampled_from(["intake", "exhaust", "outside"])
    radiators = [
        {
            **RADIATOR,
            "name": f"radiator {name}",
            "air_path": draw(paths),
            "fans": {**RADIATOR["fans"], "speed_rpm": draw(st.floats(600.0, 1800.0))},
        }
        for name in ("one", "two")
    ]
    branch = {
        **BASE["branches"][0],
        "elements": [TUBE, *blocks, *radiators, {"kind": "reservoir", "bore_mm": 10}],
    }
    pumps = [
        _pump(draw, "pump one", ("suction", "between")),
        _pump(draw, "pump two", ("between", "delivery")),
    ]
    fans = [{**CASE_FANS, "air_path": draw(st.sampled_from(["intake", "exhaust"]))}]
    return {
        **BASE,
        "room": {"air_c": draw(st.floats(10.0, 28.0))},
        "pumps": pumps,
        "branches": [branch],
        "case": {**BASE["case"], "fans": fans},
        "rest_w": draw(st.floats(10.0, 90.0)),
        "supply": {**BASE["supply"], "rated_w": 1600},
        "supply_air": draw(st.sampled_from(["room", "case"])),
    }


def _block(draw: st.DrawFn, number: int, load: str) -> dict[str, Any]:
    return {
        **(CARD if load == "card" else PROCESSOR),
        "name": f"block {number}",
        "load": load,
        "power_w": draw(st.floats(20.0, 150.0)),
        "captured_fraction": draw(st.floats(0.7, 1.0)),
        "peak_over_sustained": draw(PEAKS),
        "excursion": draw(EXCURSIONS | MEASURED) if load == "card" else None,
    }


def _pump(draw: st.DrawFn, name: str, ends: tuple[str, str]) -> dict[str, Any]:
    """Draw a pump; it may be stated to take less than it works."""
    return {
        **BASE["pumps"][0],
        "name": name,
        "from_node": ends[0],
        "to_node": ends[1],
        "speed_rpm": draw(st.floats(2600.0, 4800.0)),
        "electrical_power_w": draw(st.just(0.0) | st.floats(10.0, 40.0)),
        "heat_to_coolant_fraction": draw(st.floats(0.0, 1.0)),
    }
