"""`radiator-area`: what is refused, and what is answered although nothing works."""

import msgspec
import pytest

from loopmargin_service.questions.radiator_area import MOST_ADVISED
from loopmargin_service.questions.refusals import Refusal
from loopmargin_wire.radiator_area import RadiatorAreaAnswer, RadiatorAreaQuestion
from tests.unit.questions.asked import Changes, ask_area, fault_of, margin_of
from tests.unit.questions.test_radiator_area import FANS, ask


def test_target_below_room_air_is_answered() -> None:
    """No radiator cools below the air; the reason names both temperatures."""
    actual = ask({"target": {"kind": "coolant", "coolant_c": 20}})

    assert (actual.outcome.status, actual.state) == ("no_operating_point", None)
    assert all(words in actual.outcome.reason for words in ("20 degC", "25 degC"))
    assert "Allow a warmer coolant" in actual.outcome.advice[0]
    assert actual.margins == ()


def test_target_at_room_air_is_answered() -> None:
    """A rise of nothing is no rise."""
    actual = ask({"target": {"kind": "coolant", "coolant_c": 25}})
    assert actual.outcome.status == "no_operating_point"


@pytest.mark.parametrize("rise", [4e-15, 1e-9, 1e-3])
def test_target_hardly_above_room_air(rise: float) -> None:
    """A rise too small to measure needs more than any coolant carries, in numbers that fit."""
    actual = ask({"target": {"kind": "coolant", "coolant_c": 25.0 + rise}})

    assert actual.outcome.status in {"solved", "no_operating_point"}
    assert actual.outcome.reason
    assert msgspec.json.decode(msgspec.json.encode(actual), type=RadiatorAreaAnswer) == actual


def test_target_close_to_boiling_is_answered() -> None:
    """60 K over 40 degC would be 100 degC; the reason names the limit of 95 degC."""
    actual = ask({"room/air_c": 40, "target": {"kind": "rise", "rise_k": 60}})

    assert actual.state is None
    assert actual.outcome.status in {"no_operating_point", "outside_validity"}
    assert all(words in actual.outcome.reason for words in ("100 degC", "95 degC"))
    assert "smaller rise" in actual.outcome.advice[0]


def test_coolant_flow_too_small_for_any_area() -> None:
    """0.1 L/min carry 7 W/K; 20 W/K need more coolant, not more radiator."""
    actual = ask({"flow_l_per_min": 0.1})
    state = actual.state

    assert state is not None
    assert (state.area_needed_cm2, state.sections_needed) == (None, None)
    assert all(words in actual.outcome.reason for words in ("no area suffices", "20 W/K", "6.9"))
    assert "Raise the coolant flow" in actual.outcome.advice[0]
    assert {row.verdict for row in actual.margins} == {"fails"}


def test_fan_that_cannot_move_air() -> None:
    """A breath of a fan is answered: it fails, with a reason, advice and finite numbers."""
    weak = [
        {"air_flow_m3_per_h": 0, "pressure_pa": 0.001},
        {"air_flow_m3_per_h": 1, "pressure_pa": 0},
    ]
    actual = ask(
        {"air": FANS, "air/fans/fan/curve": weak, "air/fans/speed_rpm": 100, "air/fans/count": 1}
    )

    assert margin_of(actual, "conductance").verdict == "fails"
    assert actual.outcome.reason
    assert "air" in actual.outcome.advice[0] or "fans" in actual.outcome.advice[0]
    assert msgspec.json.decode(msgspec.json.encode(actual), type=RadiatorAreaAnswer) == actual


def test_fan_that_hardly_turns() -> None:
    """Where the coolant could carry the heat, what is missing is the air, and that is said."""
    breath = [
        {"air_flow_m3_per_h": 0, "pressure_pa": 0.0001},
        {"air_flow_m3_per_h": 1, "pressure_pa": 0},
    ]
    fan = {"air/fans/fan/curve": breath, "air/fans/fan/curve_speed_rpm": 10000}
    actual = ask_area({**fan, "air/fans/speed_rpm": 100, "flow_l_per_min": 60, "heat_w": 5000})

    assert actual.state is not None
    assert (actual.state.area_needed_cm2, actual.state.sections_needed) == (None, None)
    assert actual.outcome.reason == "no area suffices: no air moves through the radiator"
    assert "move more air" in actual.outcome.advice[0]


def fan_at(pressure_pa: float, speed_rpm: float) -> Changes:
    """Blow with a weak fan at some speed."""
    weak = [
        {"air_flow_m3_per_h": 0, "pressure_pa": pressure_pa},
        {"air_flow_m3_per_h": 30, "pressure_pa": 0},
    ]
    fans = {"air/fans/fan/curve": weak, "air/fans/fan/curve_speed_rpm": 3000}
    return {"air": FANS, **fans, "air/fans/speed_rpm": speed_rpm}


@pytest.mark.parametrize("pressure_pa", [0.01, 0.05, 0.2, 1.0, 4.0])
@pytest.mark.parametrize("speed_rpm", [300, 600, 1200, 2400])
def test_advised_sections_can_be_asked_about(pressure_pa: float, speed_rpm: float) -> None:
    """Either the advised number is one that the question takes, and holds, or none is named."""
    blown = fan_at(pressure_pa, speed_rpm)
    actual = ask(blown)
    assert actual.state is not None
    needed = actual.state.sections_needed
    if needed is None:
        return
    advice = "".join(actual.outcome.advice)
    if needed > MOST_ADVISED:
        assert "No sensible number" in advice
        assert "faster fans" in advice
        assert "Install" not in advice
        return
    again = ask({**blown, "section_count": needed})
    assert margin_of(again, "conductance").surplus >= 0.0
    assert (f"Install {needed} of" in advice) == (needed > 1)


def test_weakest_fan_leads_to_no_thousands_of_sections() -> None:
    """A breath of air would take more than a hundred sections; what to change is said instead."""
    actual = ask(fan_at(0.01, 300))

    assert actual.state is not None
    assert (actual.state.sections_needed or 0) > 100
    assert actual.outcome.advice[0].startswith("No sensible number of these sections")
    assert "a rise of" not in actual.outcome.advice[0]


def test_advised_rise_stays_below_boiling() -> None:
    """A warmer coolant is advised up to the temperature that the question takes, not beyond."""
    mild = ask({"heat_w": 400})
    fierce = ask({"heat_w": 3000})

    assert mild.state is not None
    assert fierce.state is not None
    assert f"allow a rise of {mild.state.rise_at_heat_k:.1f} K" in mild.outcome.advice[0]
    assert 25.0 + fierce.state.rise_at_heat_k > 95.0
    assert "a rise of" not in fierce.outcome.advice[0]


def test_most_sections_advised_are_the_most_asked_about() -> None:
    """The bound of the advice is the bound of the field."""
    schema = msgspec.json.schema(RadiatorAreaQuestion)["$defs"]["RadiatorAreaQuestion"]
    assert schema["properties"]["section_count"]["maximum"] == MOST_ADVISED


@pytest.mark.parametrize(
    ("changes", "where", "fragments"),
    [
        ({"target": {"kind": "coolant", "coolant_c": -1}}, "target", ["-1 degC", "0.0 degC"]),
        ({"room/air_c": -20, "target": {"kind": "rise", "rise_k": 5}}, "target", ["-15 degC"]),
        ({"radiator/conductance_w_per_k": 70}, "radiator/conductance_w_per_k", ["70", "59.58"]),
        ({"radiator/air_flow_m3_per_h": 1}, "radiator/air_flow_m3_per_h", ["500 cm2", "1.8 m3/h"]),
        (
            {"radiator/air_pressure_drop/0/air_flow_m3_per_h": 1},
            "radiator/air_pressure_drop/0/air_flow_m3_per_h",
            ["500 cm2", "1.8 m3/h"],
        ),
    ],
)
def test_refusals(changes: Changes, where: str, fragments: list[str]) -> None:
    """Each contradiction is refused at its field, with value and limit."""
    with pytest.raises(Refusal) as caught:
        ask(changes)

    at, sentence = fault_of(caught.value)
    assert where == at
    assert [words for words in fragments if words not in sentence] == []


def test_fan_curve_out_of_order() -> None:
    """The path leads through air and fans to the point."""
    with pytest.raises(Refusal) as caught:
        ask({"air": FANS, "air/fans/fan/curve/1/air_flow_m3_per_h": 0})
    assert fault_of(caught.value)[0] == "air/fans/fan/curve/1/air_flow_m3_per_h"
