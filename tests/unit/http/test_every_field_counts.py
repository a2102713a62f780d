"""Every number of a question moves something in its answer, or stands here with the reason why not.

A field that is accepted and ignored is a promise that is not kept.
"""

import copy
import json
import re
from collections.abc import Iterator
from typing import Any

import msgspec
import pytest

from loopmargin_service.http.routes import ROUTES, Route
from loopmargin_service.questions.refusals import Refusal
from tests.unit.questions.asked import EXAMPLES

Steps = tuple[str | int, ...]
# The seed of the draws follows from the question; one that is given keeps them as they are.
FIXED = {"draws": 200, "seed": "5a" * 16}
PART = "a fan or pump is described alike in every question; this one neither listens nor adds heat"
NEARBY = "a point of a curve counts only near where the device works"
RATINGS = "a rating counts where it is the next one that suffices"
WARM = "the inlet is below the temperature up to which the rating holds"
OTHER = "the doubt about a law counts where the law is used, and the example has a core"
SILENT: dict[str, dict[str, str]] = {
    "radiator-area": {
        r"air/fans/(fan/(electrical_power_w|level_per_decade_db)|installation_noise_db)": PART,
        r"uncertainty/stated_air_flow": "the example has fans, and states no air flow",
        r"uncertainty/rated_law": OTHER,
    },
    "pump-head": {
        r"room/air_c": "the coolant's temperature is stated; the room gives the air pressure",
        r"pumps/0/(level_per_decade_db|installation_noise_db)": PART,
    },
    "supply-headroom": {
        r"supply/derate_per_k|inlet_c": WARM,
        r"altitude_m": "below 900 m the thinner air takes nothing from the rating",
        r"supply/standard_ratings_w/(?!1$)\d": RATINGS,
    },
    "steady-state": {
        r"pumps/0/curve/4/.*|branches/0/elements/6/fans/fan/curve/3/.*": NEARBY,
        r"supply/(rated_temperature_c|derate_per_k)": WARM,
        r"supply/standard_ratings_w/\d": RATINGS,
        r"uncertainty/rated_law": OTHER,
    },
    "sweep": {r"case_limit": "it refuses, and changes no number"},
}


def question(row: Route) -> dict[str, Any]:
    """Give the example question with every default, and its draws fixed."""
    document = json.loads((EXAMPLES / f"{row.name}.question.json").read_bytes())
    names = {field.name for field in msgspec.structs.fields(row.question)}
    for place in (document, document.get("machine")):
        if place is not None and (place is not document or "uncertainty" in names):
            place["uncertainty"] = {**(place.get("uncertainty") or {}), **FIXED}
    told = msgspec.to_builtins(msgspec.convert(document, row.question))
    return dict(msgspec.json.decode(msgspec.json.encode(told)))


def numbers(document: object, steps: Steps = ()) -> Iterator[tuple[Steps, float]]:
    """Walk the numbers of a question; those of a whole machine are those of `steady-state`."""
    if isinstance(document, dict):
        for name, member in document.items():
            if (*steps, name) != ("machine",):
                yield from numbers(member, (*steps, name))
    elif isinstance(document, list):
        for place, member in enumerate(document):
            yield from numbers(member, (*steps, place))
    elif isinstance(document, int | float) and not isinstance(document, bool):
        yield steps, document


def moved(value: float) -> Iterator[float]:
    """Give values near another one: one of them is within the bounds and fits the others."""
    if isinstance(value, int):
        yield from (value + 1, value - 1)
    else:
        yield from (value * 1.03, value * 0.97) if value else (0.02, -0.02)


def answered(row: Route, document: dict[str, Any]) -> dict[str, Any] | None:
    """Answer a question without its echo; nothing if it is refused."""
    try:
        answer = row.compute(msgspec.convert(document, row.question))
    except (Refusal, msgspec.ValidationError):
        return None
    told: dict[str, Any] = msgspec.to_builtins(answer)
    told.pop("question")
    return told


def put(document: dict[str, Any], steps: Steps, value: float) -> dict[str, Any]:
    """Copy a question with another number at one place."""
    copied = copy.deepcopy(document)
    place: Any = copied
    for step in steps[:-1]:
        place = place[step]
    place[steps[-1]] = value
    return copied


def silent(row: Route) -> set[str]:
    """Find the numbers that move nothing, nor are refused both ways."""
    asked = question(row)
    plain = answered(row, asked)
    assert plain is not None
    found = set()
    for steps, value in numbers(asked):
        others = (answered(row, put(asked, steps, near)) for near in moved(value))
        if next((other for other in others if other is not None), None) == plain:
            found.add("/".join(map(str, steps)))
    return found


@pytest.mark.parametrize("row", ROUTES, ids=lambda row: row.name)
def test_every_number_counts_or_says_why_not(row: Route) -> None:
    """A number moved by a few hundredths moves the answer."""
    reasons = SILENT.get(row.name, {})
    found = silent(row)

    unexplained = {path for path in found if not any(re.fullmatch(one, path) for one in reasons)}
    assert unexplained == set()
    assert [one for one in reasons if not any(re.fullmatch(one, path) for path in found)] == []
