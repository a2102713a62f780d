"""Chances over a grid: each case is what the machine gives alone, with the same random numbers."""

from typing import Any

import msgspec
import numpy as np
import pytest

from loopmargin_service.physics import machine as physics
from loopmargin_service.questions import (
    machine_draws,
    solve_for,
    steady_state,
    sweep,
    sweep_draws,
    sweep_plan,
    wording,
)
from loopmargin_service.questions.machine_draws import Best
from loopmargin_service.questions.refusals import Refusal
from loopmargin_service.questions.spreads import LEAST_SETTLED
from loopmargin_wire.answer import Margin
from loopmargin_wire.solve_for import SolveForQuestion
from loopmargin_wire.steady_state import SteadyStateQuestion
from loopmargin_wire.sweep import MOST_DRAWN, Grid, SweepQuestion
from loopmargin_wire.uncertainty import Spread, Uncertainties
from tests.unit.questions.asked import changed
from tests.unit.questions.swept import (
    CARD,
    CARD_W,
    DRAWS,
    FAN_RPM,
    FANS,
    PROCESSOR,
    PROCESSOR_W,
    ROOM,
    SEED,
    about,
    asked,
    column,
    grid,
    machine,
    number,
    radiators,
    scaled,
    turned,
    values,
)

SPREADS = {
    "coolant_hottest": "hottest coolant",
    "coolant_mean": "mean coolant",
    "flow": "coolant flow",
    "case_air": "air in the case",
    CARD: "temperature of card (1)",
    PROCESSOR: "temperature of processor (2)",
}
CHANCES = {
    "coolant_hottest": "hottest coolant",
    "flow": "loop flow",
    CARD: "temperature of card",
    PROCESSOR: "temperature of processor",
}


def alone(changes: dict[str, Any]) -> tuple[dict[str, Spread], dict[str, Margin], float]:
    """Ask one machine alone: spreads, margins, and the share of draws that settled."""
    question = msgspec.convert(changed(machine(), changes), SteadyStateQuestion)
    answer = steady_state.answer(question)
    assert answer.state is not None
    assert answer.state.simulation is not None
    found = answer.state.simulation
    spreads = {row.quantity: row for row in found.spreads}
    return spreads, {row.criterion: row for row in answer.margins}, found.settled_share


def agrees(state: Grid, case: int, changes: dict[str, Any]) -> None:
    """Hold one case against the machine asked alone, to the last digit."""
    assert state.drawn is not None
    drawn = {"draws": state.drawn.draws, "seed": state.drawn.seed}
    stated = {f"uncertainty/{name}": value for name, value in drawn.items()}
    document = {"uncertainty": {}, **changes, **stated}
    spreads, margins, share = alone(document)
    told = {row.name: row.values[case] for row in state.columns}
    for name, quantity in SPREADS.items():
        there = spreads[quantity]
        assert told[f"{name} standard_uncertainty"] == there.standard_uncertainty
        assert (told[f"{name} low"], told[f"{name} high"]) == (there.low, there.high)
    for name, criterion in CHANCES.items():
        assert told[f"{name} chance"] == margins[criterion].chance
    assert told["settled_share"] == share


@pytest.mark.parametrize("draws", [DRAWS, 1000, 2500])
@pytest.mark.parametrize("confidence", [0.8, 0.95])
def test_one_case_is_the_machine_asked_alone(draws: int, confidence: float) -> None:
    """Intervals, deviations and chances to the last digit, in one piece or in several."""
    changes = {"confidence": confidence}

    agrees(
        grid(about(changes, turned("/room/air_c", 25.0), draws=draws)),
        0,
        {**changes, "room/air_c": 25.0},
    )


@pytest.mark.parametrize(
    ("path", "numbers"),
    [
        ("rest_w", (20.0, 140.0)),
        (CARD_W, (90.0, 260.0)),
        (FAN_RPM, (500.0, 1900.0)),
        ("pumps/0/speed_rpm", (1500.0, 5200.0)),
        ("room/altitude_m", (0.0, 2200.0)),
        ("coolant/mass_fraction", (0.1, 0.45)),
        ("branches/0/elements/2/captured_fraction", (0.6, 0.95)),
        ("branches/0/elements/2/interface_k_per_w", (0.01, 0.04)),
        ("branches/0/elements/6/radiator/depth_mm", (25.0, 55.0)),
        ("confidence", (0.6, 0.9)),
        ("required_flow_l_per_min", (1.0, 2.7)),
        ("uncertainty/air_flow", (0.05, 0.4)),
    ],
)
def test_an_axis_may_turn_what_a_cause_draws(path: str, numbers: tuple[float, float]) -> None:
    """Heat, speeds, coolant, limits and doubts: every case is that machine, drawn alone."""
    base = {"uncertainty": {"seed": SEED}}
    state = grid(about(base, turned(f"/{path}", *numbers), turned("/room/air_c", 21.0, 24.0)))

    for case, (amount, room) in enumerate((n, r) for n in numbers for r in (21.0, 24.0)):
        agrees(state, case, {**base, path: amount, "room/air_c": room})


def test_factors_and_other_elements_are_drawn_as_they_stand() -> None:
    """All fans faster, all parts hotter, half the radiator: what each axis puts there is drawn."""
    axis = radiators()
    base = {"uncertainty": {"seed": SEED}, "branches/0/elements/2/captured_fraction": 0.8}
    state = grid(about(base, axis, scaled("fan_speeds", 1.4), scaled("part_powers", 0.5)))

    for case, element in enumerate(axis["elements"]):
        place = axis["pointer"][1:]
        faster = changed(element, {"fans/speed_rpm": 1.4 * element["fans"]["speed_rpm"]})
        halved = {path: 0.5 * number(path) for path in (CARD_W, PROCESSOR_W)}
        agrees(state, case, {**base, **halved, place: faster})


def test_machines_solved_beside_others_are_those_solved_alone() -> None:
    """Before any rounding, draw by draw, for cases far enough apart to settle at other times."""
    asked_for = Uncertainties(draws=DRAWS, seed=SEED, air_flow=0.4)
    bests = []
    for path, amount in ((FAN_RPM, 500.0), (FAN_RPM, 1800.0), (CARD_W, 300.0)):
        question = msgspec.convert(changed(machine(), {path: amount}), SteadyStateQuestion)
        built = sweep_plan.build(question)
        state = physics.solve(built.machine, sweep_plan.setting_of(question, built))
        bests.append(Best(question, built, state))

    together = sweep_draws.about(bests[0].built, bests, asked_for)

    for best, found in zip(bests, together, strict=True):
        expected = machine_draws.draw(best, asked_for, SEED).cases
        for here, there in zip(found, expected, strict=True):
            np.testing.assert_allclose(here, there, rtol=1e-12, atol=0.0)


def test_answer_and_head_say_what_was_drawn() -> None:
    """In place of the note that nothing was; with the seed that has it again."""
    question = about({"uncertainty": {"seed": SEED}, "confidence": 0.99}, FANS)
    answer, head = sweep.answer(question), sweep.head(question, "name")

    assert head.drawn == answer.state.drawn
    assert head.drawn is not None
    assert (head.drawn.seed, head.drawn.draws, head.drawn.confidence) == (SEED, DRAWS, 0.99)
    assert head.notes == answer.notes
    assert wording.BEST_ESTIMATE_NOTE not in answer.notes
    assert [note.code for note in answer.notes[2:]] == ["cases_drawn", "draws_support_less"]
    assert "standard error of 0.035" in answer.notes[2].text
    assert len(head.columns) == len(answer.state.columns)


def test_equal_machines_have_equal_draws() -> None:
    """A sweep, a finer one, and the machine alone: the seed is that of the machine."""
    coarse, fine = about({}, turned("/rest_w", 50.0)), about({}, turned("/rest_w", 20.0, 50.0))
    seed = machine_draws.doubts_of(coarse.machine).seed
    seeds = [state.drawn.seed for state in (grid(coarse), grid(fine)) if state.drawn]

    assert seeds == [seed, seed]
    name = "coolant_hottest standard_uncertainty"
    assert values(fine, name)[1] == values(coarse, name)[0]


def test_the_setting_that_solve_for_finds_holds_as_surely_in_a_sweep() -> None:
    """Both draw alike: the slowest fans that hold are sure enough, and those just below are not."""
    asked_for = {
        "machine": {**machine(), "uncertainty": {"draws": DRAWS}},
        "unknown": {"kind": "factor", "of": "fan_speeds", "lowest": 0.4, "highest": 1.6},
        "seek": "least",
    }
    sought = solve_for.answer(msgspec.convert(asked_for, SolveForQuestion))
    assert sought.state is not None
    least, step = sought.state.value, sought.state.tolerance
    tried = {one.value: one.chance for one in sought.tried}

    found = grid(about({}, scaled("fan_speeds", least - step, least)))
    worst = np.min([column(found, f"{name} chance") for name in CHANCES], axis=0)

    assert worst.tolist() == [tried[least - step], tried[least]]
    assert worst[0] < 0.95 <= worst[1]


def test_a_case_that_does_not_settle_is_not_drawn() -> None:
    """No number, no chance; its neighbours have theirs."""
    found = grid(about({}, scaled("fan_speeds", 0.15, 1.0)))
    drawn = found.columns[len(sweep_plan.plan(asked(FANS)).columns) :]

    assert found.status == ("outside_validity", "settled")
    assert all(row.values[0] is None for row in drawn)
    assert all(row.values[1] is not None for row in drawn)


@pytest.mark.parametrize("settle", [LEAST_SETTLED, LEAST_SETTLED - 1])
def test_too_few_draws_that_settle_have_chances_and_no_spread(settle: int) -> None:
    """As `steady-state` has it; chances count the others as failing."""
    question = msgspec.convert(machine(), SteadyStateQuestion)
    built = sweep_plan.build(question)
    state = physics.solve(built.machine, sweep_plan.setting_of(question, built))
    best = Best(question, built, state)
    (cases,) = sweep_draws.about(built, [best], Uncertainties(draws=DRAWS, seed=SEED))
    few = cases._replace(settled=np.arange(DRAWS) < settle)

    *spreads, coolant, flow, card, processor, joint, share = sweep_draws.described(
        question, np.array([150.0, 150.0]), few
    )

    assert set(np.isfinite(spreads).tolist()) == {settle >= LEAST_SETTLED}
    assert (card, processor, share) == (settle / DRAWS,) * 3
    assert joint <= min(coolant, flow) <= share


@pytest.mark.parametrize(
    ("question", "path", "words"),
    [
        (about({"uncertainty": None}, FANS), ("machine", "uncertainty"), "null states none"),
        (
            about(
                {}, FANS, {**ROOM, "values": [20.0 + 0.01 * n for n in range(200)]}, draws=20_000
            ),
            ("draws",),
            f"each of 800 cases are 16000000, and one question may ask for {MOST_DRAWN}",
        ),
    ],
)
def test_draws_that_cannot_be_are_refused(
    question: SweepQuestion, path: tuple[str, ...], words: str
) -> None:
    """The field, the limit and what to try."""
    with pytest.raises(Refusal) as refused:
        sweep.head(question, "name")

    assert refused.value.faults[0].path == path
    assert words in refused.value.faults[0].detail


def test_a_machine_of_too_many_parts_for_the_columns_is_refused() -> None:
    """It can be swept without draws."""
    elements = machine()["branches"][0]["elements"]
    block = next(element for element in elements if element["kind"] == "block")
    branch = machine()["branches"][0]
    full = {**branch, "elements": [block] * (60 - len(elements)) + elements}
    further = {**full, "elements": [block] * 60}
    many = [{**further, "name": f"branch {number}"} for number in range(6)]
    changes = {"branches": [full, *many]}

    with pytest.raises(Refusal) as refused:
        sweep.head(about(changes, FANS), "name")

    assert refused.value.faults[0].path == ("draws",)
    assert "columns, and may have 1500" in refused.value.faults[0].detail
    body = {"machine": changed(machine(), changes), "axes": [FANS]}
    assert len(sweep_plan.plan(msgspec.convert(body, SweepQuestion)).columns) < 1500
