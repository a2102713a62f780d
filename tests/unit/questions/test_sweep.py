"""A sweep is every machine asked alone, only faster, and no bad case spoils another."""

import json
from pathlib import Path
from typing import Any

import msgspec
import numpy as np
import pytest

from loopmargin_service.questions import solve_for, steady_state, sweep, wording
from loopmargin_service.questions.refusals import Refusal
from loopmargin_wire.solve_for import SolveForQuestion
from loopmargin_wire.steady_state import SteadyStateQuestion
from loopmargin_wire.sweep import Grid, SweepQuestion

EXAMPLE = Path(__file__).parents[3] / "openapi" / "examples" / "steady-state.question.json"
CORE = "/branches/0/elements/6/radiator"


def machine() -> dict[str, Any]:
    """Read the machine of the example."""
    document: dict[str, Any] = json.loads(EXAMPLE.read_text())
    document.pop("listener", None)
    return document


def grid(*axes: dict[str, Any], **limits: int) -> Grid:
    """Answer a sweep of the example machine."""
    body = {"machine": machine(), "axes": list(axes), **limits}
    return sweep.answer(msgspec.convert(body, SweepQuestion)).state


def field(pointer: str, *values: float) -> dict[str, Any]:
    """Write an axis over one field."""
    return {"kind": "field", "pointer": pointer, "values": list(values)}


def factor(of: str, *values: float) -> dict[str, Any]:
    """Write an axis over a group of fields."""
    return {"kind": "factor", "of": of, "values": list(values)}


def alone(changed: dict[str, Any]) -> tuple[float, float, float]:
    """Ask one machine alone: hottest coolant, flow, first part."""
    state = steady_state.answer(msgspec.convert(changed, SteadyStateQuestion)).state
    assert state is not None
    return state.coolant_hottest_c, state.flow_l_per_min, state.components[0].component_c


def column(state: Grid, name: str) -> np.ndarray:
    """Give one column in the shape of the grid."""
    values = next(row.values for row in state.columns if row.name == name)
    return np.array(values, dtype=np.float64).reshape(state.shape)


def radiator_place() -> str:
    """Point to the core of the example's radiator."""
    for number, element in enumerate(machine()["branches"][0]["elements"]):
        if element["kind"] == "radiator":
            return f"/branches/0/elements/{number}"
    raise AssertionError


def test_every_case_is_the_machine_asked_alone() -> None:
    """Settings of three kinds together give what each machine gives by itself."""
    state = grid(
        factor("fan_speeds", 0.8, 1.3),
        field("/pumps/0/speed_rpm", 2400, 3600),
        field("/rest_w", 30, 90),
    )

    for place in np.ndindex(2, 2, 2):
        changed = machine()
        for element in changed["branches"][0]["elements"]:
            if element["kind"] == "radiator":
                element["fans"]["speed_rpm"] *= (0.8, 1.3)[place[0]]
        changed["pumps"][0]["speed_rpm"] = (2400, 3600)[place[1]]
        changed["rest_w"] = (30, 90)[place[2]]
        hottest, flow, part = alone(changed)
        assert column(state, "coolant_hottest")[place] == pytest.approx(hottest, abs=1e-4)
        assert column(state, "flow")[place] == pytest.approx(flow, rel=1e-5)
        assert column(state, state.columns[4].name)[place] == pytest.approx(part, abs=1e-4)


def test_a_field_of_the_machine_itself_builds_it_anew() -> None:
    """A deeper core is another machine, and settles where that machine settles alone."""
    pointer = f"{radiator_place()}/radiator/depth_mm"
    state = grid(field(pointer, 25, 45), field("/room/air_c", 22, 27))
    changed = machine()
    steps = pointer[1:].split("/")
    changed["branches"][0]["elements"][int(steps[3])]["radiator"]["depth_mm"] = 45
    changed["room"]["air_c"] = 22

    assert column(state, "coolant_hottest")[1, 0] == pytest.approx(alone(changed)[0], abs=1e-4)


def test_a_bad_value_refuses_its_cases_alone() -> None:
    """A room hotter than any limit is refused with the value, and its neighbours settle."""
    state = grid(field("/room/air_c", 25, 400, 27))

    assert state.status == ("settled", "refused", "settled")
    assert np.isnan(column(state, "coolant_hottest")).tolist() == [False, True, False]
    assert state.faults[0].case == 1
    assert state.faults[0].reason == (
        "room/air_c at 400: room.air_c is 400.0, above its upper limit of 60; give a number from "
        "-20 to 60 degC."
    )
    assert state.holds[1] is False


def test_a_bad_machine_refuses_its_cases_alone() -> None:
    """Tubes thicker than their pitch refuse that machine and no other."""
    pointer = f"{radiator_place()}/radiator/tube_thickness_mm"
    state = grid(field(pointer, 2.0, 5.0), field(f"{radiator_place()}/radiator/tube_pitch_mm", 5.0))

    assert state.status == ("settled", "refused")


def test_a_case_that_runs_away_is_named_so() -> None:
    """Hardly turning fans leave no numbers behind, and the other case its own."""
    state = grid(factor("fan_speeds", 0.15, 1.0))

    assert state.status == ("outside_validity", "settled")
    assert state.columns[0].values[0] is None


def test_the_last_axis_runs_first() -> None:
    """Cases stand in the order of the shape, last axis first."""
    state = grid(field("/room/air_c", 20, 30), factor("fan_speeds", 0.8, 1.0, 1.2))

    assert state.shape == (2, 3)
    assert (np.diff(column(state, "coolant_hottest"), axis=1) < 0.0).all()
    assert (np.diff(column(state, "coolant_hottest"), axis=0) > 0.0).all()


def test_holds_follows_the_limits() -> None:
    """A case holds when coolant, parts and flow are all within their limits."""
    state = grid(factor("fan_speeds", 0.5, 1.5), factor("pump_speeds", 0.3, 1.0))

    assert state.holds == (False, False, False, True)


@pytest.mark.parametrize("uncertainty", [None, {"draws": 200, "air_flow": 0.4}])
def test_cases_stand_at_best_estimate_and_the_notes_say_so(
    uncertainty: dict[str, Any] | None,
) -> None:
    """Doubt about the machine moves no case; answer and head of a stream point to the chances."""
    body = {"machine": machine(), "axes": [factor("fan_speeds", 0.8, 1.0)]}
    plain = sweep.answer(msgspec.convert(body, SweepQuestion))
    body["machine"]["uncertainty"] = uncertainty
    question = msgspec.convert(body, SweepQuestion)
    found, head = sweep.answer(question), sweep.head(question, "digest")

    assert found.state == plain.state
    assert wording.BEST_ESTIMATE_NOTE in found.notes
    assert wording.BEST_ESTIMATE_NOTE in head.notes


def test_chances_are_had_where_the_note_says() -> None:
    """`steady-state` states a chance for the machine of a case, `solve-for` for what it finds."""
    drawn = machine() | {"uncertainty": {"draws": 200}}
    unknown = {"kind": "factor", "of": "fan_speeds", "lowest": 0.4, "highest": 1.6}
    alone = steady_state.answer(msgspec.convert(drawn, SteadyStateQuestion))
    sought = solve_for.answer(
        msgspec.convert({"machine": drawn, "unknown": unknown, "seek": "least"}, SolveForQuestion)
    )

    assert all(
        f"`{name}`" in wording.BEST_ESTIMATE_NOTE.text for name in ("steady-state", "solve-for")
    )
    assert any(margin.chance is not None for margin in alone.margins)
    assert any(margin.chance is not None for margin in sought.margins)


@pytest.mark.parametrize(
    ("axes", "limits", "path"),
    [
        ([{"kind": "field", "pointer": "/room/colour", "values": [1]}], {}, ("axes", 0, "pointer")),
        (
            [{"kind": "field", "pointer": "/coolant/kind", "values": [1]}],
            {},
            ("axes", 0, "pointer"),
        ),
        ([factor("fan_speeds", 0.9, 1.0)], {"case_limit": 1}, ("axes",)),
        ([field("/rest_w", 1), field("/rest_w", 2)], {}, ("axes",)),
        ([field(f"{radiator_place()}/fans/count", 2, 2.5)], {}, ("axes", 0, "values")),
    ],
)
def test_contradictory_axes_are_refused(
    axes: list[dict[str, Any]], limits: dict[str, int], path: tuple[str | int, ...]
) -> None:
    """An axis that changes nothing, too many cases, and two axes for one field are refused."""
    with pytest.raises(Refusal) as caught:
        grid(*axes, **limits)

    assert caught.value.faults[0].path == path


def test_cases_beyond_twice_the_curve_have_no_numbers() -> None:
    """Fans at 2.4 times the speed of their curve are outside validity; at twice they are not."""
    found = grid(factor("fan_speeds", 1.0, 2.0 / 0.6, 4.0))

    assert found.status == ("settled", "settled", "outside_validity")
    assert found.columns[0].values[2] is None
