"""Estimates of work: positive, growing with what is asked, and read off the question alone."""

from pathlib import Path
from typing import Any

import msgspec
import pytest

from loopmargin_service.http.routes import ROUTES, Route
from loopmargin_service.questions import sweep_chunks, work
from loopmargin_wire.solve_for import AlternativeRange
from loopmargin_wire.steady_state import SteadyStateQuestion
from loopmargin_wire.sweep import LONGEST_BLOCK, FactorAxis, FieldAxis, SweepQuestion
from tests.performance.bench_work import drawn, longer

EXAMPLES = Path("openapi/examples")
vary = msgspec.structs.replace


def example(name: str, kind: Any) -> Any:  # noqa: ANN401 - any question
    """Read the example question of a route."""
    return msgspec.json.decode((EXAMPLES / f"{name}.question.json").read_bytes(), type=kind)


MACHINE: SteadyStateQuestion = example("steady-state", SteadyStateQuestion)
SWEEP: SweepQuestion = example("sweep", SweepQuestion)


def swept(*axes: FieldAxis | FactorAxis, limit: int = 20_000) -> float:
    """Estimate a sweep over some axes."""
    return work.sweep(vary(SWEEP, axes=axes, case_limit=limit))


def room(count: int) -> FieldAxis:
    """Give an axis that only turns a setting."""
    return FieldAxis(pointer="/room/air_c", values=tuple(20.0 + 0.01 * n for n in range(count)))


def fans(count: int) -> FactorAxis:
    """Give another one."""
    return FactorAxis(of="fan_speeds", values=tuple(0.5 + 0.001 * n for n in range(count)))


@pytest.mark.parametrize("row", ROUTES, ids=[row.name for row in ROUTES])
def test_every_example_is_some_work_and_less_than_a_deadline(row: Route) -> None:
    """What nobody would wait for is no example."""
    assert 0.0 < row.work(example(row.name, row.question)) < 30.0


def test_more_draws_are_more_work() -> None:
    """In proportion, once they are many."""
    few, many, most = (work.steady_state(drawn(MACHINE, draws)) for draws in (200, 2000, 20_000))

    assert few < many < most
    assert 5.0 < most / many < 10.0


def test_a_machine_about_which_nothing_is_drawn_is_less_work() -> None:
    """Leaving out the draws leaves the one machine."""
    once = work.steady_state(vary(MACHINE, uncertainty=None))

    assert once == work.machine(MACHINE)
    assert once < work.steady_state(drawn(MACHINE, 200))


def test_a_longer_loop_is_more_work() -> None:
    """Alone, and in every case of a batch."""
    machines = [longer(MACHINE, times) for times in (1, 2, 3)]

    for estimates in (
        [work.steady_state(machine) for machine in machines],
        [work.cases(machine, 1000) for machine in machines],
    ):
        assert estimates == sorted(set(estimates))


def test_more_cases_are_more_work() -> None:
    """In proportion to their number, however it is spread over the axes."""
    sizes = [swept(room(rooms), fans(turns)) for rooms, turns in ((1, 1), (10, 10), (100, 100))]

    assert sizes == sorted(set(sizes))
    assert swept(room(100), fans(100)) == pytest.approx(swept(room(50), fans(200)), rel=0.3)


def test_a_sweep_is_the_machine_and_more() -> None:
    """Even of a single case."""
    one = work.sweep(vary(SWEEP, axes=(room(1),), machine=vary(MACHINE, uncertainty=None)))

    assert one > work.cases(MACHINE, 1)


def test_a_field_that_builds_machines_anew_is_more_work_than_one_that_turns_them() -> None:
    """A factor turns what is built once."""
    values = tuple(0.5 + 0.01 * n for n in range(100))
    built = FieldAxis(pointer="/supply_margin_fraction", values=values)

    assert swept(built) >= swept(FactorAxis(of="fan_speeds", values=values))


def test_a_search_is_the_work_of_all_that_it_tries() -> None:
    """And so grows with the draws at each value."""
    route = next(row for row in ROUTES if row.name == "solve-for")
    asked = example("solve-for", route.question)
    drawing = vary(asked, machine=drawn(asked.machine, 1000))

    assert work.solve_for(drawing) > 10 * work.steady_state(drawn(asked.machine, 1000)) > 0.0


def test_a_search_among_alternatives_is_the_work_of_each() -> None:
    """One of them is the answer as it was judged."""
    machine = example("solve-for", next(row for row in ROUTES if row.name == "solve-for").question)
    element = machine.machine.branches[0].elements[0]
    few, more = (
        vary(machine, unknown=AlternativeRange(pointer="/branches/0/elements/0", elements=listed))
        for listed in ((element,), (element,) * 3)
    )

    assert work.solve_for(more) == pytest.approx(3.0 * work.solve_for(few))


def test_draws_about_every_case_are_more_work() -> None:
    """In proportion to cases times draws, once they are many; chunks hold fewer cases."""
    axes = (room(50), fans(20))
    few, many, most = (vary(SWEEP, axes=axes, draws=draws) for draws in (200, 2000, 20_000))
    estimates = [work.sweep(vary(SWEEP, axes=axes)), *map(work.sweep, (few, many, most))]
    sizes = [sweep_chunks.chunk_cases(question) for question in (few, many, most)]

    assert estimates == sorted(set(estimates))
    assert 8.0 < estimates[3] / estimates[2] < 10.0
    assert 0.5 < estimates[2] / (1000 * work.steady_state(drawn(MACHINE, 2000))) < 2.0
    assert LONGEST_BLOCK > sizes[0] > sizes[1] > sizes[2] >= 1
    assert all(LONGEST_BLOCK % size == 0 for size in sizes)


def test_machines_that_are_built_for_a_few_cases_count_for_more_than_the_cases() -> None:
    """Each is built, set at every value and solved in a batch of its own."""
    bores = FieldAxis(
        pointer="/branches/0/elements/0/bore_mm", values=tuple(8.0 + 0.01 * n for n in range(100))
    )
    one, many = swept(room(10), fans(100)), swept(bores, room(10))

    assert one == swept(fans(100), room(10))
    assert many > 100 * work.machine(MACHINE) > 10 * one


@pytest.mark.parametrize(("number", "met"), [(1, 1), (4, 1), (5, 2), (12, 3), (100, 3)])
def test_machines_are_met_as_fast_as_their_axis_runs(number: int, met: int) -> None:
    """Three bores over four rooms: one after four cases, or one in each case."""
    bores = FieldAxis(pointer="/branches/0/elements/0/bore_mm", values=(8.0, 9.0, 10.0))
    first, last = vary(SWEEP, axes=(bores, room(4))), vary(SWEEP, axes=(room(4), bores))

    assert work.machines_met(first, number) == met
    assert work.machines_met(last, number) == min(3, number)
    assert work.machines_met(vary(SWEEP, axes=(room(4),)), number) == 1


def test_sending_a_case_is_a_small_part_of_solving_it() -> None:
    """Of the simplest machine; it goes with the number of cases."""
    assert 0.0 < work.sweep_sent(1000) < 0.2 * 1000 * work.sweep_case(SWEEP)
    assert work.sweep_sent(2000) == pytest.approx(2.0 * work.sweep_sent(1000))
