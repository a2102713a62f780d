"""`pump-head`: branches, several pumps, refusals, outcomes and notes."""

from typing import Any

import msgspec
import pytest

from loopmargin_service.questions import parts, pump_head
from loopmargin_service.questions.edition import EDITION
from loopmargin_service.questions.refusals import Refusal
from loopmargin_wire.part import DropCoefficients, HydraulicBlock, Water
from loopmargin_wire.pump_head import LoopState, PumpHeadAnswer, PumpHeadQuestion
from tests.unit.questions.asked import Changes, ask_head, changed, codes, fault_of, margin_of
from tests.unit.questions.test_operating_point import BAR_M, BARE, bare

PUMP = BARE["pumps"][0]
COUPLING = {"kind": "quick_disconnect", "name": "pair", "kv_m3_per_h": 0.6}
TUBE = {"kind": "tube", "name": "hose", "bore_mm": 10, "length_mm": 500}


def ask(changes: Changes | None = None) -> PumpHeadAnswer:
    """Ask about a pump with a parabola for a curve and one coupling of known Kv."""
    return pump_head.answer(msgspec.convert(changed(BARE, changes), PumpHeadQuestion))


def branch(name: str, ends: tuple[str, str], *elements: dict[str, Any]) -> dict[str, Any]:
    """Give a branch of some elements."""
    return {"name": name, "from_node": ends[0], "to_node": ends[1], "elements": elements}


def flows(state: LoopState) -> list[float]:
    """List the flows of the branches."""
    return [row.flow_l_per_min for row in state.branches]


def test_example_is_answered_and_echoed() -> None:
    """The published example works, and the answer repeats the question with its defaults."""
    actual = ask_head()

    assert (actual.outcome.status, actual.edition) == ("solved", EDITION)
    assert actual.question.branches[0].from_node == "delivery"
    assert [row.criterion for row in actual.margins] == [
        "loop flow",
        "head at the required flow",
        "velocity that carries air, all tube",
        "suction head, booth pump",
    ]


def test_margins_repeat_the_state() -> None:
    """Demand is what was asked for, capacity what the loop gives."""
    actual = ask({"branches/0/required_flow_l_per_min": 2, "branches/0/elements/1": TUBE})
    state = actual.state

    assert state is not None
    loop, branch_flow = (margin_of(actual, name) for name in ("loop flow", "flow in loop"))
    assert (loop.demand, loop.capacity) == (3.0, state.flow_l_per_min)
    assert branch_flow.demand == 2.0
    assert branch_flow.capacity == pytest.approx(state.flow_l_per_min)
    air, tube = margin_of(actual, "velocity that carries air, hose"), state.elements[1]
    assert air.demand == tube.velocity_to_carry_air_m_per_s
    assert air.capacity == tube.velocity_m_per_s
    suction = margin_of(actual, "suction head, pump")
    assert (suction.demand, suction.capacity) == (2.0, state.pumps[0].suction_head_m)


def test_head_at_the_required_flow() -> None:
    """The coupling takes bar (0.06 q / Kv)^2 at 3 L/min, the pump has 4 (1 - 0.3^2) m there."""
    row = margin_of(ask(), "head at the required flow")

    assert row.demand == pytest.approx(BAR_M * (0.06 * 3.0 / 0.6) ** 2, rel=1e-5)
    assert row.capacity == pytest.approx(4.0 * (1.0 - 0.09), rel=1e-9)


def test_three_equal_branches_share_equally() -> None:
    """In parallel each takes a third, and together they take more than one alone."""
    alike = [branch(name, ("delivery", "suction"), COUPLING) for name in ("a", "b", "c")]
    state = bare({"branches": alike})

    assert flows(state) == pytest.approx([state.flow_l_per_min / 3.0] * 3, rel=1e-9)
    assert state.flow_l_per_min > bare().flow_l_per_min


def test_parallel_branches_take_the_same_drop() -> None:
    """Two couplings share the flow as their Kv."""
    wide = {**COUPLING, "kv_m3_per_h": 0.9}
    ends = ("delivery", "suction")
    state = bare({"branches": [branch("a", ends, COUPLING), branch("b", ends, wide)]})

    narrow_flow, wide_flow = flows(state)
    assert wide_flow / narrow_flow == pytest.approx(1.5, rel=1e-8)
    drops = [row.pressure_drop_kpa for row in state.branches]
    assert drops[0] == pytest.approx(drops[1], rel=1e-9)


def test_branches_in_series_are_one() -> None:
    """Cutting a branch in two changes nothing but its name."""
    first = branch("first", ("delivery", "middle"), COUPLING)
    second = branch("second", ("middle", "suction"), TUBE)
    whole = bare({"branches/0/elements": [COUPLING, TUBE]})
    cut = bare({"branches": [first, second]})

    assert flows(cut) == pytest.approx([whole.flow_l_per_min] * 2, rel=1e-9)
    drops = [element.pressure_drop_kpa for element in cut.elements]
    assert drops == pytest.approx([e.pressure_drop_kpa for e in whole.elements], rel=1e-7)


def test_reversed_branch_runs_backwards() -> None:
    """A branch written from its end to its start gives the same numbers with opposite sign."""
    ends = ("delivery", "suction")
    forward = {"branches": [branch("a", ends, COUPLING, TUBE), branch("b", ends, TUBE)]}
    backward = changed(forward, {"branches/0": branch("a", ends[::-1], TUBE, COUPLING)})
    one, other = bare(forward), bare(backward)

    assert flows(other) == pytest.approx([-flows(one)[0], flows(one)[1]], rel=1e-9)
    expected = [-row.pressure_drop_kpa for row in one.elements[1::-1]]
    assert expected == pytest.approx(
        [row.pressure_drop_kpa for row in other.elements[:2]], rel=1e-7
    )
    assert (one.elements[1].velocity_m_per_s or 0.0) == pytest.approx(
        -(other.elements[0].velocity_m_per_s or 0.0), rel=1e-9
    )


@pytest.mark.parametrize(
    ("changes", "where", "fragments"),
    [
        ({"coolant_c": -1}, "coolant_c", ["-1 degC", "0.0 degC", "glycol"]),
        ({"pumps/0/curve/1/head_m": 5}, "pumps/0/curve/1/head_m", ["5", "4", "falls"]),
        ({"reservoir": {"node": "attic"}}, "reservoir/node", ["attic", "delivery, suction"]),
        ({"branches/0/to_node": "attic"}, "branches/0/to_node", ["attic", "join"]),
    ],
)
def test_refusals(changes: Changes, where: str, fragments: list[str]) -> None:
    """Each contradiction is refused at its field, with value, limit and what to try."""
    with pytest.raises(Refusal) as caught:
        ask(changes)

    first = caught.value.faults[0]
    assert where == "/".join(str(step) for step in first.path)
    assert [words for words in fragments if words not in first.detail] == []


def test_element_measured_below_freezing() -> None:
    """The path leads through branch and element; the wire itself ends at 1 degC."""
    replace = msgspec.structs.replace
    drop = DropCoefficients(
        linear_kpa_per_l_per_min=1.0,
        quadratic_kpa_per_l_per_min2=1.0,
        measured_with=Water(),
        measured_at_c=-2.0,
    )
    question = msgspec.convert(BARE, PumpHeadQuestion)
    frozen = replace(question.branches[0], elements=(HydraulicBlock(pressure_drop=drop),))

    with pytest.raises(Refusal) as caught:
        pump_head.answer(replace(question, branches=(frozen,)))

    expected = "branches/0/elements/0/pressure_drop/measured_at_c"
    assert expected == fault_of(caught.value)[0]


def test_pump_too_weak_at_any_speed() -> None:
    """The state is there, the needed speed is not, and the advice does not ask for one."""
    actual = ask({"required_flow_l_per_min": 60})

    assert actual.state is not None
    assert actual.state.speed_fraction_needed is None
    assert (actual.outcome.status, "loop flow" in actual.outcome.reason) == ("solved", True)
    assert "No speed up to four times" in actual.outcome.advice[0]
    assert margin_of(actual, "loop flow").verdict == "fails"


def test_pump_too_slow_is_told_how_fast() -> None:
    """The advice carries the speed that suffices."""
    actual = ask({"required_flow_l_per_min": 8})

    assert actual.state is not None
    assert f"{actual.state.speed_fraction_needed:.2f} times" in actual.outcome.advice[0]
    assert "head at the required flow" in actual.outcome.reason


def test_advice_never_outruns_the_curve() -> None:
    """A speed that would be refused is no advice: beyond twice that of the curve."""
    slow = {"pumps/0/speed_rpm": 2000}
    near = ask({**slow, "required_flow_l_per_min": 10})
    far = ask({**slow, "required_flow_l_per_min": 14})

    for actual, possible in ((near, True), (far, False)):
        assert actual.state is not None
        factor = actual.state.speed_fraction_needed
        assert factor is not None
        assert (factor * 2000 / PUMP["curve_speed_rpm"] <= 2.0) == possible
        advice = actual.outcome.advice[0]
        assert advice.startswith("Run the pump at" if possible else "Take a stronger pump")
        assert f"at {factor:.2f} times this speed" in advice


def test_advice_never_slows_a_pump_to_carry_air() -> None:
    """Where flow is ample and only the air stays behind, a slower pump is no advice."""
    wide = {**TUBE, "bore_mm": 40}
    actual = ask({"required_flow_l_per_min": 0.5, "branches/0/elements/1": wide})

    assert actual.outcome.reason == "fails: velocity that carries air, hose"
    assert "times this speed" not in actual.outcome.advice[0]


def test_advice_against_boiling_is_not_speed() -> None:
    """A pump that starves needs pressure or a cooler coolant; speed makes it worse."""
    starved = {"coolant_c": 94, "reservoir": {"node": "delivery"}, "room/altitude_m": 3000}
    actual = ask({**starved, "required_flow_l_per_min": 5})

    assert actual.outcome.reason == "fails: suction head, pump"
    assert "times this speed" not in actual.outcome.advice[0]


@pytest.mark.parametrize(
    ("changes", "code"),
    [
        ({}, "reservoir_assumed"),
        ({"coolant_c": 91}, "near_boiling"),
        ({"pumps/0/speed_rpm": 3400}, "affinity_range"),
        ({"pumps/0/speed_rpm": 1400}, "affinity_range"),
        ({"branches/0/elements/0/kv_m3_per_h": 90, "pumps/0/curve/1/head_m": 3}, "beyond_curve"),
        ({"branches/0/elements/1": {**TUBE, "bore_mm": 37.5}}, "transitional_flow"),
    ],
)
def test_notes(changes: Changes, code: str) -> None:
    """What was assumed and what is at the edge of a law is noted once."""
    assert codes(ask(changes)).count(code) == 1


def test_nothing_to_note_of_an_ordinary_loop() -> None:
    """With a reservoir given, only the common practice on suction remains."""
    assert codes(ask({"reservoir": {"node": "suction"}})) == ["suction_head_assumed"]


def test_glycol_flows_slower_than_water() -> None:
    """Six tenths of glycol at 1 degC are thick; the same pump moves less of it."""
    tube = {"branches/0/elements": [TUBE], "coolant_c": 1}
    thick = bare({**tube, "coolant": {"kind": "propylene_glycol", "mass_fraction": 0.6}})
    assert thick.flow_l_per_min < bare(tube).flow_l_per_min


def test_basis_and_cautions() -> None:
    """The laws of the loop are named once each, tees only where there are any."""
    plain = ask()
    tee = {"kind": "tee", "bore_mm": 10, "path": "run"}
    with_tee = ask({"branches/0/elements/1": tee})

    assert len(set(plain.basis)) == len(plain.basis)
    assert {row.quantity for row in with_tee.basis} - {row.quantity for row in plain.basis} == {
        "tees"
    }
    assert any("dry" in sentence for sentence in plain.cautions)


def test_density_enters_through_the_coolant() -> None:
    """The required flow is a volume: the mass behind it follows the coolant's density."""
    glycol = {"coolant": {"kind": "ethylene_glycol", "mass_fraction": 0.5}}
    water, thick = bare(), bare(glycol)

    densities = [
        float(parts.liquid(mix, 25.0).density[0])
        for mix in (parts.Mix("water", 0.0), parts.Mix("ethylene_glycol", 0.5))
    ]
    assert thick.flow_l_per_min == pytest.approx(water.flow_l_per_min, rel=1e-7)
    ratio = thick.elements[0].pressure_drop_kpa / water.elements[0].pressure_drop_kpa
    assert ratio == pytest.approx(densities[1] / densities[0], rel=1e-6)
