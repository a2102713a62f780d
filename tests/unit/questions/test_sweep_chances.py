"""Chances over a grid: smooth from case to case, the same in any division, as physics has them."""

import msgspec
import numpy as np

from loopmargin_service.physics import machine as physics
from loopmargin_service.questions import machine_draws, sweep, sweep_plan
from loopmargin_service.questions.machine_draws import Best
from loopmargin_wire.sweep import MOST_CASES, SweepQuestion
from loopmargin_wire.uncertainty import Uncertainties
from tests.unit.questions.asked import changed
from tests.unit.questions.swept import (
    BORE,
    CARD,
    CARD_W,
    DRAWS,
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
    scaled,
    turned,
    values,
)

JUDGED = ("coolant_hottest", "flow", CARD, PROCESSOR)


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
    many = len(sweep_plan.plan(asked(*axes)).columns)

    for first, second in zip(there.columns, back.columns, strict=True):
        expected = np.array(first.values).reshape(there.shape)
        found = np.array(second.values).reshape(back.shape).transpose()
        exact = 0.0 if first in there.columns[many:] else 1e-9
        np.testing.assert_allclose(found, expected, rtol=exact, atol=exact)


def test_all_limits_together_hold_less_often_than_each() -> None:
    """Counted draw by draw, and no less often than if no two ever failed together (G. Boole)."""
    limits = {"branches/0/elements/2/limit_c": 52.0, "required_flow_l_per_min": 2.6}
    question = about(limits, scaled("fan_speeds", 0.8, 1.0))
    found = grid(question)
    each = np.stack([column(found, f"{name} chance") for name in JUDGED])
    joint = column(found, "holds chance")

    assert (joint <= each.min(axis=0)).all()
    assert (joint >= 1.0 - (1.0 - each).sum(axis=0) - 1e-12).all()
    assert (joint < each.min(axis=0)).all()
    there = question.machine
    built = sweep_plan.build(there)
    state = physics.solve(built.machine, sweep_plan.setting_of(there, built))
    seed = machine_draws.doubts_of(there).seed
    drawn = machine_draws.draw(Best(there, built, state), Uncertainties(draws=DRAWS), seed).cases
    alike = (
        drawn.settled
        & (drawn.coolant_hottest_c <= there.coolant_limit_c)
        & (drawn.flow_l_per_min >= 2.6)
        & (drawn.component_c[0] <= 52.0)
        & (drawn.component_c[1] <= built.blocks[1].wire.limit_c)
    )
    assert joint[1] == alike.sum() / DRAWS


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
            middle = number(path)
            ends = [middle * (1.0 - doubt), middle * (1.0 + doubt)]
            low, high = column(grid(asked(turned(f"/{path}", *ends))), name)
            variance += (0.5 * (high - low)) ** 2
        told = column(drawn, f"{name} standard_uncertainty")[0]
        linear = np.sqrt(variance)
        error = linear / np.sqrt(2.0 * draws)
        assert abs(told - linear) <= 4.0 * error + 0.5 * 10.0 ** np.floor(np.log10(error))
