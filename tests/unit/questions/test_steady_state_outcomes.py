"""`steady-state`: machines that do not work, or only just, and what they are told."""

import pytest

from loopmargin_wire.steady_state import SteadyStateAnswer
from tests.unit.questions.asked import (
    Changes,
    ask_machine,
    codes,
    example,
    machine_state,
    margin_of,
)
from tests.unit.questions.sound import broken_promises
from tests.unit.questions.test_steady_state import CARD, FAN_SPEED, OUTSIDE, PROCESSOR, RADIATOR

PUMP = example("steady-state")["pumps"][0]
SUPPLY_ROWS = 7
NOISE_ROWS = 1


def sound(changes: Changes) -> SteadyStateAnswer:
    """Ask, and make sure that the answer keeps what every answer promises."""
    actual = ask_machine(changes)
    assert broken_promises(actual.question, actual, actual.question.confidence) == []
    return actual


def test_equilibrium_beyond_the_hottest_coolant() -> None:
    """1500 W through this radiator is no machine: no numbers, but reason, advice, supply, noise."""
    actual = sound({f"{CARD}/power_w": 1500})

    assert (actual.outcome.status, actual.state) == ("outside_validity", None)
    assert "95 degC" in actual.outcome.reason
    assert "must not be run" in actual.outcome.advice[0]
    assert len(actual.margins) == SUPPLY_ROWS + NOISE_ROWS


def test_hot_air_in_the_case() -> None:
    """A case whose air would reach 80 degC is told to open, whatever its coolant does."""
    actual = sound({**OUTSIDE, "case/fans": [], "rest_w": 400})

    assert (actual.outcome.status, actual.state) == ("outside_validity", None)
    assert "air in the case" in actual.outcome.reason
    assert "80 degC" in actual.outcome.reason
    assert "Open the case" in actual.outcome.advice[0]


def test_standing_machine() -> None:
    """Without heat the coolant is a fraction of a kelvin above the room, from the pump alone."""
    actual = sound({f"{CARD}/power_w": 0, f"{PROCESSOR}/power_w": 0})

    assert actual.outcome.status == "solved"
    assert actual.state is not None
    assert 0.0 < actual.state.rise_over_room_k < 1.0
    assert actual.state.heat.parts_to_coolant_w == 0.0


def test_machine_that_draws_nothing_at_all() -> None:
    """No heat but the pump's work: the room's temperature, and nothing divides by zero."""
    still = {
        f"{CARD}/power_w": 0,
        f"{PROCESSOR}/power_w": 0,
        "rest_w": 0,
        "pumps/0/electrical_power_w": 0,
        f"{RADIATOR}/fans/fan/electrical_power_w": 0,
    }
    actual = sound(still)

    assert actual.state is not None
    assert actual.state.coolant_hottest_c == pytest.approx(27.0, abs=0.1)
    (pump,) = actual.state.pumps
    assert actual.state.dc_power_w == pytest.approx(pump.hydraulic_power_w, rel=1e-9)


@pytest.mark.parametrize("uncertainty", [None, {}])
def test_machine_without_a_block(uncertainty: dict[str, float] | None) -> None:
    """A loop that only its pump warms is answered, with and without uncertainties."""
    elements = example("steady-state")["branches"][0]["elements"]
    bare = {"branches/0/elements": [*elements[:2], *elements[4:]], "uncertainty": uncertainty}
    actual = sound(bare)

    assert actual.state is not None
    assert actual.state.components == ()


def test_supply_that_cannot_carry_the_machine() -> None:
    """Temperatures are reported, wall power is not, and the outcome says why."""
    actual = sound({"supply/rated_w": 300})

    assert actual.state is not None
    assert actual.state.wall_power_w is None
    assert actual.state.heat.to_room_w == actual.state.dc_power_w
    assert margin_of(actual, "power, continuous").verdict == "fails"


def test_failing_margins_are_named() -> None:
    """The reason lists the criteria that fail, the advice what would help."""
    actual = sound({"coolant_limit_c": 40, f"{CARD}/limit_c": 50, "required_flow_l_per_min": 6})

    failing = {row.criterion for row in actual.margins if row.verdict == "fails"}
    assert {"hottest coolant", "temperature of card", "loop flow"} <= failing
    assert [criterion for criterion in failing if criterion not in actual.outcome.reason] == []
    assert "faster pump" in actual.outcome.advice[0]


@pytest.mark.parametrize(
    ("changes", "criterion"),
    [
        ({"coolant_limit_c": 44}, "hottest coolant"),
        ({f"{PROCESSOR}/limit_c": 57}, "temperature of processor"),
        ({"branches/0/required_flow_l_per_min": 2.8}, "flow in loop"),
    ],
)
def test_limits_that_are_missed(changes: Changes, criterion: str) -> None:
    """A limit just below the settled value fails; just above it is tight, not met."""
    assert margin_of(sound(changes), criterion).verdict == "fails"
    ((path, value),) = changes.items()
    assert isinstance(value, float | int)
    wider = value - 0.2 if "flow" in path else value + 1.5
    assert margin_of(sound({path: wider}), criterion).verdict == "tight"


@pytest.mark.parametrize("above", [4e-15, 1e-9, 1e-3])
def test_limit_hardly_above_the_room(above: float) -> None:
    """A coolant limit a hair above the room air fails in numbers that fit the wire."""
    actual = sound({"coolant_limit_c": 27.0 + above})
    assert margin_of(actual, "hottest coolant").verdict == "fails"


def test_parallel_pumps_with_one_shut() -> None:
    """A second pump at a third of the speed moves nothing and is noted; the flow stays."""
    weak = {**PUMP, "name": "spare pump", "speed_rpm": 900, "electrical_power_w": 0}
    actual = sound({"pumps/1": weak})

    assert actual.state is not None
    assert actual.state.pumps[1].flow_l_per_min == 0.0
    assert actual.state.flow_l_per_min == pytest.approx(machine_state().flow_l_per_min, rel=1e-3)
    assert codes(actual).count("pump_shut") == 1
    assert "head at the required flow" not in [row.criterion for row in actual.margins]


def test_stagnant_branch() -> None:
    """A branch between two ends of one pressure carries nothing, and nothing breaks."""
    bridge = {
        "name": "bridge",
        "from_node": "left",
        "to_node": "right",
        "elements": [{"kind": "tube", "bore_mm": 10, "length_mm": 100}],
    }
    branch = example("steady-state")["branches"][0]
    tube = branch["elements"][0]
    arm = {"elements": [tube], "from_node": "delivery", "to_node": "left", "name": "arm"}
    rest = {"from_node": "left", "to_node": "suction", "elements": branch["elements"]}
    actual = sound(
        {
            "branches": [
                {**arm, "name": "arm left"},
                {**arm, "name": "arm right", "to_node": "right"},
                {**rest, "name": "leg left"},
                {**rest, "name": "leg right", "from_node": "right"},
                bridge,
            ]
        }
    )

    assert actual.state is not None
    flows = {row.branch: row.flow_l_per_min for row in actual.state.branches}
    assert flows["bridge"] == pytest.approx(0.0, abs=1e-4)
    assert flows["leg left"] == pytest.approx(flows["leg right"], rel=1e-6)


def test_fans_that_stand_nearly_still() -> None:
    """At 100 rpm the fans of the example carry no machine; that is an answer."""
    assert sound({FAN_SPEED: 100}).outcome.status == "outside_validity"


@pytest.mark.parametrize(
    ("changes", "code", "pointer"),
    [
        ({"pumps/0/speed_rpm": 2000}, "affinity_range", "pumps/0/speed_rpm"),
        ({f"{RADIATOR}/radiator/depth_mm": 60}, "core_geometry_range", "radiator/depth_mm"),
        ({}, "core_reynolds_range", f"{RADIATOR}/radiator"),
    ],
)
def test_notes_of_the_machine(changes: Changes, code: str, pointer: str) -> None:
    """Notes on parts carry over, with pointers into the machine."""
    (note,) = [note for note in sound(changes).notes if note.code == code]
    assert note.pointer.endswith(f"/{pointer}")
