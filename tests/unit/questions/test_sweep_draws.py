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
from loopmargin_wire.sweep import MOST_CASES, MOST_DRAWN, Grid, SweepQuestion
from loopmargin_wire.uncertainty import Spread, Uncertainties
from tests.unit.questions.asked import changed
from tests.unit.questions.swept import BORE, FANS, ROOM, asked, machine, radiators

DRAWS = 200
SEED = "5" * 32
CARD, PROCESSOR = "part card 1", "part processor 2"
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


def about(changes: dict[str, Any], *axes: dict[str, Any], **fields: int) -> SweepQuestion:
    """Ask for a drawn sweep of the example machine with some places changed."""
    fields = {"draws": DRAWS, **fields}
    body = {"machine": changed(machine(), changes), "axes": list(axes), **fields}
    return msgspec.convert(body, SweepQuestion)


def grid(question: SweepQuestion) -> Grid:
    """Answer it whole."""
    return sweep.answer(question).state


def column(state: Grid, name: str) -> np.ndarray:
    """Give one column in the shape of the grid, NaN where there is no number."""
    values = next(row.values for row in state.columns if row.name == name)
    return np.array(values, dtype=np.float64).reshape(state.shape)


def values(question: SweepQuestion, name: str) -> np.ndarray:
    """Give one column of an answer."""
    return column(grid(question), name)


def turned(pointer: str, *numbers: float) -> dict[str, Any]:
    """Write an axis over one field."""
    return {"kind": "field", "pointer": pointer, "values": list(numbers)}


def scaled(of: str, *numbers: float) -> dict[str, Any]:
    """Write an axis over a group of fields."""
    return {"kind": "factor", "of": of, "values": list(numbers)}


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


CARD_W, PROCESSOR_W = "branches/0/elements/2/power_w", "branches/0/elements/3/power_w"
FAN_RPM = "branches/0/elements/6/fans/speed_rpm"


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

    for case, (number, room) in enumerate((n, r) for n in numbers for r in (21.0, 24.0)):
        agrees(state, case, {**base, path: number, "room/air_c": room})


def test_factors_and_other_elements_are_drawn_as_they_stand() -> None:
    """All fans faster, all parts hotter, half the radiator: what each axis puts there is drawn."""
    axis = radiators()
    base = {"uncertainty": {"seed": SEED}, "branches/0/elements/2/captured_fraction": 0.8}
    state = grid(about(base, axis, scaled("fan_speeds", 1.4), scaled("part_powers", 0.5)))

    for case, element in enumerate(axis["elements"]):
        place = axis["pointer"][1:]
        faster = changed(element, {"fans/speed_rpm": 1.4 * element["fans"]["speed_rpm"]})
        halved = {path: 0.5 * _number(path) for path in (CARD_W, PROCESSOR_W)}
        agrees(state, case, {**base, **halved, place: faster})


def _number(path: str) -> float:
    place: Any = machine()
    for step in path.split("/"):
        place = place[int(step)] if isinstance(place, list) else place[step]
    return float(place)


def test_machines_solved_beside_others_are_those_solved_alone() -> None:
    """Before any rounding, draw by draw, for cases far enough apart to settle at other times."""
    asked_for = Uncertainties(draws=DRAWS, seed=SEED, air_flow=0.4)
    bests = []
    for path, number in ((FAN_RPM, 500.0), (FAN_RPM, 1800.0), (CARD_W, 300.0)):
        question = msgspec.convert(changed(machine(), {path: number}), SteadyStateQuestion)
        built = sweep_plan.build(question)
        state = physics.solve(built.machine, sweep_plan.setting_of(question, built))
        bests.append(Best(question, built, state))

    together = sweep_draws.about(bests[0].built, bests, asked_for)

    for best, found in zip(bests, together, strict=True):
        expected = machine_draws.draw(best, asked_for, SEED).cases
        for here, there in zip(found, expected, strict=True):
            np.testing.assert_allclose(here, there, rtol=1e-12, atol=0.0)


@pytest.mark.parametrize("size", [1, 5, 7])
def test_any_division_gives_the_same_bytes(size: int) -> None:
    """Settled, refused and drawn cases alike, whatever stands beside them."""
    question = about({}, FANS, radiators(), ROOM)
    one = sweep.chunk(question, 0, 24)
    parts = [
        sweep.opened(sweep.chunk(question, first, min(first + size, 24)))
        for first in range(0, 24, size)
    ]

    assert sweep.joined(parts) == one


def test_what_the_store_keeps_is_what_is_asked() -> None:
    """Same draws, same cases, however a question says so; other draws have another name."""
    question = about({}, FANS, draws=300)
    seed = machine_draws.doubts_of(question.machine).seed
    said = about({"uncertainty": {"seed": seed, "draws": 777}}, FANS, draws=300, case_limit=50)
    same = sweep.same_cases(question)

    assert sweep.same_cases(said) == same
    assert sweep.chunk(same, 0, 4) == sweep.chunk(question, 0, 4) == sweep.chunk(said, 0, 4)
    for other in (
        about({}, FANS, draws=301),
        about({"uncertainty": {"seed": SEED}}, FANS, draws=300),
        about({"uncertainty": {"heat": 0.06}}, FANS, draws=300),
        about({"confidence": 0.9}, FANS, draws=300),
        asked(FANS),
    ):
        assert sweep.same_cases(other) != same
    assert sweep.same_cases(same) == same
    assert same.case_limit == MOST_CASES


def test_draws_add_columns_and_move_none() -> None:
    """The cases are those of the sweep without draws, and so is everything that it told."""
    plain = sweep.answer(asked(FANS, ROOM))
    drawn = sweep.answer(about({}, FANS, ROOM))
    many = len(plain.state.columns)

    assert drawn.state.columns[:many] == plain.state.columns
    assert drawn.state.status == plain.state.status
    assert drawn.state.holds == plain.state.holds
    assert plain.state.drawn is None
    assert {row.unit for row in drawn.state.columns[many:]} == {"K", "degC", "L/min", "1"}


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
    assert "known to 0.04" in answer.notes[2].text
    assert len(head.columns) == len(answer.state.columns)


def test_equal_machines_have_equal_draws() -> None:
    """A sweep, a finer one, and the machine alone: the seed is that of the machine."""
    coarse, fine = about({}, turned("/rest_w", 50.0)), about({}, turned("/rest_w", 20.0, 50.0))
    seed = machine_draws.doubts_of(coarse.machine).seed
    seeds = [state.drawn.seed for state in (grid(coarse), grid(fine)) if state.drawn]

    assert seeds == [seed, seed]
    name = "coolant_hottest standard_uncertainty"
    assert values(fine, name)[1] == values(coarse, name)[0]


def test_more_air_never_makes_it_less_likely_to_stay_cool() -> None:
    """With the same draws at every speed the chance cannot fall, as no draw gets warmer.

    No step of the speeds is too small for that: chance that is counted anew would go up and down.
    """
    speeds = np.linspace(0.6, 1.6, 41).tolist()
    found = grid(about({}, scaled("fan_speeds", *speeds), draws=300))

    for name in ("coolant_hottest chance", f"{CARD} chance", f"{PROCESSOR} chance"):
        rising = np.diff(column(found, name))
        assert (rising >= 0.0).all()
        assert rising.sum() > 0.1


def test_a_warmer_room_never_makes_it_more_likely_to_stay_cool() -> None:
    """Along the other way."""
    found = grid(about({}, turned("/room/air_c", *np.linspace(18.0, 38.0, 21).tolist())))

    assert (np.diff(column(found, "coolant_hottest chance")) <= 0.0).all()
    assert np.ptp(column(found, "coolant_hottest chance")) > 0.8


def test_axes_in_another_order_give_the_same_cases() -> None:
    """Only where they stand changes."""
    axes = (scaled("fan_speeds", 0.8, 1.1), turned("/rest_w", 20.0, 60.0, 90.0), BORE)
    there, back = grid(about({}, *axes)), grid(about({}, *axes[::-1]))
    many = len(asked_columns(asked(*axes)))

    for first, second in zip(there.columns, back.columns, strict=True):
        expected = np.array(first.values).reshape(there.shape)
        found = np.array(second.values).reshape(back.shape).transpose()
        exact = 0.0 if first in there.columns[many:] else 1e-9
        np.testing.assert_allclose(found, expected, rtol=exact, atol=exact)


def asked_columns(question: SweepQuestion) -> tuple[tuple[str, str], ...]:
    """Name the columns of a sweep."""
    return sweep_plan.plan(question).columns


def test_all_limits_together_hold_less_often_than_each() -> None:
    """And at least as often as if no two of them failed together (G. Boole)."""
    found = grid(about({"branches/0/elements/2/limit_c": 52.0}, scaled("fan_speeds", 0.8, 1.0)))
    each = np.stack([column(found, f"{name} chance") for name in CHANCES])
    joint = column(found, "holds chance")

    assert (joint <= each.min(axis=0)).all()
    assert (joint >= 1.0 - (1.0 - each).sum(axis=0) - 1e-12).all()
    assert (joint < 1.0).all()


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
    drawn = found.columns[len(asked_columns(asked(FANS))) :]

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


def test_a_part_that_a_machine_lacks_has_no_chance_there() -> None:
    """The others are judged without it."""
    elements = machine()["branches"][0]["elements"]
    place = next(n for n, element in enumerate(elements) if element["kind"] == "block")
    pointer = f"/branches/0/elements/{place}"
    axis = {"kind": "alternative", "pointer": pointer, "elements": [elements[place], elements[0]]}
    found = grid(about({}, axis))

    assert np.isnan(column(found, f"{CARD} chance")).tolist() == [False, True]
    assert np.isnan(column(found, f"{CARD} high")).tolist() == [False, True]
    assert np.isnan(column(found, "holds chance")).tolist() == [False, False]


def test_better_known_air_is_worth_seeing() -> None:
    """An axis over a doubt itself: the less is known, the wider the interval."""
    axis = turned("/uncertainty/air_flow", 0.0, 0.1, 0.2, 0.4)
    question = about({"uncertainty": {"air_flow": 0.2}}, axis)

    assert (np.diff(values(question, "coolant_hottest standard_uncertainty")) > 0.0).all()


def test_an_axis_over_a_doubt_is_solved_without_draws_too() -> None:
    """Whole and in chunks: it turns nothing there, and every case is alike."""
    axis = turned("/uncertainty/air_flow", 0.1, 0.2)
    body = {"machine": changed(machine(), {"uncertainty": {"air_flow": 0.2}}), "axes": [axis]}
    question = msgspec.convert(body, SweepQuestion)

    block = sweep.opened(sweep.chunk(sweep.same_cases(question), 0, 2))

    assert block.columns == sweep.opened(sweep.chunk(question, 0, 2)).columns
    assert sweep.spelled(block).status == ("settled", "settled")


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


def test_straight_causes_propagate_as_the_guide_says() -> None:
    """JCGM 100:2008, 5.1.2, equation (10): variances add, each by the square of its slope.

    Slopes come from a sweep without draws, by central differences; heat and temperature of a
    machine are close to proportional. The drawn deviation may differ by the error of so many
    draws (four times it) and by the rounding of what is told.
    """
    doubts = {"heat": 0.02, "rest": 0.1}
    quiet = {field.name: 0.0 for field in msgspec.structs.fields(Uncertainties)}
    del quiet["draws"], quiet["seed"]
    causes = {CARD_W: 0.02, PROCESSOR_W: 0.02, "rest_w": 0.1}
    draws = 5000
    question = about({"uncertainty": {**quiet, **doubts}}, scaled("fan_speeds", 1.0), draws=draws)
    drawn = grid(question)

    for name in ("coolant_hottest", CARD, PROCESSOR, "case_air"):
        variance = 0.0
        for path, doubt in causes.items():
            middle = _number(path)
            ends = [middle * (1.0 - doubt), middle * (1.0 + doubt)]
            low, high = column(grid(asked(turned(f"/{path}", *ends))), name)
            variance += (0.5 * (high - low)) ** 2
        told = column(drawn, f"{name} standard_uncertainty")[0]
        linear = np.sqrt(variance)
        error = linear / np.sqrt(2.0 * draws)
        assert abs(told - linear) <= 4.0 * error + 0.5 * 10.0 ** np.floor(np.log10(error))
