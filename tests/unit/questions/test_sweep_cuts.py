"""How a sweep is cut into chunks: alike everywhere, in short tasks, along blocks, and early."""

from itertools import pairwise
from typing import Any

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st

from loopmargin_service.questions import sweep, sweep_chunks, work
from loopmargin_wire.sweep import LONGEST_BLOCK, MOST_CASES, SweepQuestion
from tests.performance.bench_work import longer
from tests.unit.questions.swept import FANS, asked, radiators

vary = msgspec.structs.replace
COUNTS = st.lists(st.integers(1, 100), min_size=1, max_size=3)


def grid(*counts: int, bores: int = 0, bores_last: bool = False) -> SweepQuestion:
    """Ask for a grid of settings, and of bores that change the machine."""
    of = ("fan_speeds", "pump_speeds", "part_powers")
    axes: list[dict[str, Any]] = [
        {"kind": "factor", "of": name, "values": [0.5 + 0.001 * n for n in range(count)]}
        for name, count in zip(of, counts, strict=False)
    ]
    wide = {"kind": "field", "pointer": "/branches/0/elements/0/bore_mm"}
    bore = [{**wide, "values": [8.0 + 0.01 * n for n in range(bores)]}] if bores else []
    return asked(*(axes + bore if bores_last else bore + axes), case_limit=MOST_CASES)


def sizes(question: SweepQuestion) -> list[int]:
    """Give the number of cases of each chunk."""
    return [last - first for first, last in sweep_chunks.ranges(question)]


@given(COUNTS, st.integers(0, 100), st.sampled_from(["first", "last"]))
def test_chunks_hold_every_case_once_along_blocks(
    counts: list[int], bores: int, bores_run: str
) -> None:
    """Whatever the axes are; blocks and chunks begin together."""
    question = grid(*counts, bores=bores, bores_last=bores_run == "first")
    edges = [0, *(last for _, last in sweep_chunks.ranges(question))]
    size = sweep_chunks.chunk_cases(question)

    assert list(pairwise(edges)) == list(sweep_chunks.ranges(question))
    assert edges == sorted(set(edges))
    assert edges[-1] == work.sweep_cases(question)
    assert all(edge % min(size, LONGEST_BLOCK) == 0 for edge in edges[:-1])
    assert size % LONGEST_BLOCK == 0 or LONGEST_BLOCK % size == 0


@given(st.integers(0, 90_000))
def test_a_stream_that_is_taken_up_has_the_same_chunks(first_case: int) -> None:
    """From the one that holds its first case, so that it finds what was stored."""
    whole = grid(300, 300)
    resumed = vary(whole, first_case=first_case, case_limit=90_000)
    rest = [each for each in sweep_chunks.ranges(whole) if each[1] > first_case]

    assert list(sweep_chunks.ranges(resumed)) == rest


def test_what_no_case_depends_on_moves_no_chunk() -> None:
    """What is drawn about the machine alone, and how many cases were wanted at most."""
    question = grid(300, 300)

    assert sizes(sweep.same_cases(question)) == sizes(question)


def test_a_grid_beyond_all_bounds_is_not_laid_out() -> None:
    """It is refused elsewhere; to tell what its beginning costs takes no time."""
    axis = grid(1000).axes[0]
    endless = vary(grid(1), axes=(axis,) * 4)

    assert work.sweep_cases(endless) == 10**12
    assert 0.0 < sweep_chunks.first_s(endless) < 1.0
    assert next(sweep_chunks.ranges(vary(endless, first_case=MOST_CASES)))[0] <= MOST_CASES


@pytest.mark.parametrize("times", [1, 2, 4])
def test_a_chunk_of_a_large_sweep_is_the_same_work_for_any_machine(times: int) -> None:
    """Longer loops make smaller chunks; the first one is far smaller, so that it comes early."""
    question = grid(1000, 1000)
    question = vary(question, machine=longer(question.machine, times))
    first, second, *_ = sizes(question)

    one_more_s = LONGEST_BLOCK * work.sweep_case(question)
    assert 0.5 * sweep_chunks.CHUNK_S < work.sweep_chunk(question, second) <= sweep_chunks.CHUNK_S
    assert work.sweep_chunk(question, second) + one_more_s > sweep_chunks.CHUNK_S
    assert first <= max(LONGEST_BLOCK, second // sweep_chunks.EARLIER)


def test_small_sweeps_are_shared_too() -> None:
    """Some tens of thousands of cases are several chunks; what takes a moment is not cut."""
    assert len(sizes(grid(200, 200))) > sweep_chunks.SHARES
    assert sizes(asked(FANS)) == [4]


def test_a_case_that_takes_long_is_a_chunk_of_its_own(monkeypatch: pytest.MonkeyPatch) -> None:
    """Nothing smaller can be solved."""
    monkeypatch.setattr(work, "sweep_case", lambda _: 100.0)

    assert sizes(asked(FANS, radiators())) == [1] * 8


def test_long_cases_divide_a_block_evenly(monkeypatch: pytest.MonkeyPatch) -> None:
    """As many as are short, all alike."""
    monkeypatch.setattr(work, "sweep_case", lambda _: 0.003)

    assert set(sizes(grid(1000, 4))) == {125}


def test_machines_that_occur_in_every_chunk_make_chunks_longer() -> None:
    """Where their axis runs fastest: what is solved anew stays a part of the work."""
    first, last = grid(40, 40, bores=100), grid(40, 40, bores=100, bores_last=True)
    usual, longest = sweep_chunks.chunk_cases(first), sweep_chunks.chunk_cases(last)
    machines_s = work.machines_met(last, longest) * work.machine(last.machine)

    assert longest > usual
    assert machines_s <= longest * work.sweep_case(last)
    assert work.sweep_chunk(last, longest) <= sweep_chunks.LONGEST_S


def test_a_chunk_is_bounded_in_memory(monkeypatch: pytest.MonkeyPatch) -> None:
    """However little time it takes, no more bytes than are let."""
    monkeypatch.setattr(work, "sweep_case", lambda _: 1e-9)
    question = grid(1000, 1000)
    size = sweep_chunks.chunk_cases(question)
    each = len(sweep.chunk(question, 0, 2000)) / 2000

    assert 0.9 * sweep_chunks.CHUNK_BYTES < size * each <= sweep_chunks.CHUNK_BYTES


def test_the_beginning_is_paid_for_by_its_own_chunk() -> None:
    """The first one is small; a stream that begins later begins with a large one."""
    question = grid(1000, 1000)
    first, second, *_ = sizes(question)

    assert sweep_chunks.first_s(question) == work.sweep_chunk(question, first)
    resumed = vary(question, first_case=first)
    assert sweep_chunks.first_s(resumed) == work.sweep_chunk(question, second)
