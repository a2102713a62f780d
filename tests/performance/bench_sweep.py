"""Sweeps on one core: against a script and a compiled kernel, over the number of cases, memory.

Every ratio is of processor times taken in turn in one run, the best of some rounds.
"""

import math
import resource
import subprocess
import sys
import time
from collections.abc import Callable, Sequence
from pathlib import Path

import msgspec
import numpy as np

from loopmargin_service.physics import batch, coolant, machine
from loopmargin_service.physics.network import Array
from loopmargin_service.questions import sweep, sweep_chunks, sweep_machines, sweep_plan
from loopmargin_service.questions.machine_cases import describe_cases
from loopmargin_wire.steady_state import SteadyStateQuestion
from loopmargin_wire.sweep import MOST_CASES, SweepQuestion
from tests.faults.streamed import question
from tests.performance.bench_work import longer
from tests.performance.sweep_loop import compiled, layout, ours, points, script
from tests.unit.questions.swept import asked

vary = msgspec.structs.replace
EXAMPLE = Path(__file__).parents[2] / "openapi" / "examples" / "steady-state.question.json"
ONE_BORE = (0.010,)
EIGHT_BORES = tuple(0.0080 + 0.0004 * n for n in range(8))
POINTS, SCRIPT_POINTS, ROUNDS = 100_000, 1500, 3
OVER_SCRIPT, OVER_KERNEL = 50.0, 5.0
CASES_PER_SECOND = 20_000.0
COUNTS = (1_000, 10_000, 100_000, 1_000_000)
SLOPE, SLOPE_WITHIN = 1.0, 0.1
MEMORY_MB = 1000.0
# What a chunk may take, on a machine that is not the one where work was estimated. [s]
CHUNK_S = (0.08, 0.6)
MACHINES, TURNED, MOST_FOR_ORDER = 100, 13, 1.6
CHUNK = 2000
AGREEMENT = 1e-8


def main() -> int:
    """Measure, print, and fail when a target is missed."""
    sys.stdout.write("sweeps on one core\n")
    met = [
        *_loop_targets(ONE_BORE, "tubes of one bore"),
        *_machine_targets(),
        *_chunk_targets(),
        _order_target(),
    ]
    _loop_targets(EIGHT_BORES, "eight bores, which no fold helps", judged=False)
    return 0 if all(met) else 1


def _say(text: str, *, met: bool, judged: bool = True) -> bool:
    """Print one line."""
    verdict = ("meets" if met else "FAILS") if judged else "     "
    sys.stdout.write(f"{verdict}  {text}\n")
    return met


def _best_s(call: Callable[[], object], rounds: int = ROUNDS) -> float:
    """Give the least processor time of some calls."""
    taken = []
    for _ in range(rounds):
        start = time.process_time()
        call()
        taken.append(time.process_time() - start)
    return min(taken)


def _loop_targets(bores: Sequence[float], name: str, *, judged: bool = True) -> list[bool]:
    """Compare operating points of a loop of fifteen elements."""
    built, wanted, few = layout(bores), points(POINTS), points(SCRIPT_POINTS)
    here, there = (coolant.properties("water", 0.0, one.temperature[None]) for one in (wanted, few))
    full = float(ours(built, points(1)._replace(speed=np.ones(1)))[0])
    flows = compiled(bores, here, wanted, full)
    np.testing.assert_allclose(ours(built, wanted), flows, rtol=AGREEMENT)
    np.testing.assert_allclose(ours(built, few), script(bores, there, few), rtol=AGREEMENT)
    each = _best_s(lambda: ours(built, wanted)) / POINTS
    by_script = _best_s(lambda: script(bores, there, few)) / SCRIPT_POINTS
    by_kernel = _best_s(lambda: compiled(bores, here, wanted, full)) / POINTS
    return [
        _say(
            f"15 elements, {name}: {by_script / each:.0f} times the rate of a script "
            f"({1e6 * by_script:.1f} over {1e6 * each:.2f} us; least {OVER_SCRIPT:g})",
            met=by_script / each >= OVER_SCRIPT,
            judged=judged,
        ),
        _say(
            f"15 elements, {name}: {each / by_kernel:.2f} times the time of a compiled kernel "
            f"({1e6 * by_kernel:.2f} us; most {OVER_KERNEL:g})",
            met=each / by_kernel <= OVER_KERNEL,
            judged=judged,
        ),
    ]


def _machine_targets() -> list[bool]:
    """Sweep the whole machine of the example over the number of cases."""
    seconds = [
        _best_s(lambda n=count: whole_machine(n), 1 if count > POINTS else ROUNDS)
        for count in COUNTS
    ]  # type: ignore[misc]
    rate = POINTS / seconds[COUNTS.index(POINTS)]
    slope = float(np.polyfit(np.log(COUNTS), np.log(seconds), 1)[0])
    each = ", ".join(f"{1e6 * s / n:.2f}" for s, n in zip(seconds, COUNTS, strict=True))
    program = f"from tests.performance.bench_sweep import peak_mb; print(peak_mb({COUNTS[-1]}))"
    command = [sys.executable, "-c", program]
    peak = float(subprocess.check_output(command, text=True))  # noqa: S603 - ourselves
    return [
        _say(
            f"whole machine: {rate:.0f} cases a second (least {CASES_PER_SECOND:.0f})",
            met=rate >= CASES_PER_SECOND,
        ),
        _say(
            f"whole machine: cost goes as the number of cases to the {slope:.3f} "
            f"(1 within {SLOPE_WITHIN:g}; {each} us a case)",
            met=math.isclose(slope, SLOPE, abs_tol=SLOPE_WITHIN),
        ),
        _say(
            f"whole machine: {peak:.0f} MB at the most, {COUNTS[-1]} cases (most {MEMORY_MB:.0f})",
            met=peak < MEMORY_MB,
        ),
    ]


def _chunk_targets() -> list[bool]:
    """Measure what one chunk of a large sweep takes, for some machines."""
    small = question(1000, 1000)
    long_loop = vary(small, machine=longer(small.machine, 4))
    kinds = {
        "the example": small,
        "a loop four times as long": long_loop,
        "200 draws about each case": vary(question(300, 150), draws=200),
    }
    met = []
    for name, one in kinds.items():
        same = sweep.same_cases(one)
        ranges = list(sweep_chunks.ranges(same))
        first, last = ranges[len(ranges) // 2]
        took_s = _best_s(lambda same=same, first=first, last=last: sweep.chunk(same, first, last))  # type: ignore[misc]
        met.append(
            _say(
                f"a chunk of {name}: {last - first} cases in {took_s:.2f} s "
                f"({CHUNK_S[0]:g} to {CHUNK_S[1]:g})",
                met=CHUNK_S[0] <= took_s <= CHUNK_S[1],
            )
        )
    return met


def _order_target() -> bool:
    """Sweep over many machines, whose axis runs last or first."""
    bores = {"kind": "field", "pointer": "/branches/0/elements/0/bore_mm"}
    machines = {**bores, "values": np.linspace(8.0, 10.0, MACHINES).tolist()}
    turned = [
        {"kind": "factor", "of": of, "values": np.linspace(0.7, 1.2, TURNED).tolist()}
        for of in ("fan_speeds", "pump_speeds", "part_powers")
    ]
    slow, quick = (
        _best_s(lambda axes=axes: _swept(asked(*axes, case_limit=MOST_CASES)), 2)  # type: ignore[misc]
        for axes in ([machines, *turned], [*turned, machines])
    )
    return _say(
        f"{MACHINES} machines: an axis that changes the machine takes {quick / slow:.2f} times as "
        f"long where it runs first (most {MOST_FOR_ORDER:g})",
        met=quick <= MOST_FOR_ORDER * slow,
    )


def _swept(wanted: SweepQuestion) -> None:
    """Solve a sweep as one process would that has not seen it."""
    sweep_machines.machines.cache_clear()
    for first, last in sweep_chunks.ranges(wanted):
        sweep.chunk(wanted, first, last)


def whole_machine(count: int) -> Array:
    """Solve and describe so many cases of the example machine; give the hottest coolant."""
    question = msgspec.json.decode(EXAMPLE.read_bytes(), type=SteadyStateQuestion)
    built = sweep_plan.build(question)
    random = np.random.default_rng(1)
    one = batch.cases_of(sweep_plan.setting_of(question, built), np.zeros(count, dtype=np.intp))
    given = one._replace(
        fan_ratio=one.fan_ratio * random.uniform(0.6, 1.1, count),
        pump_ratio=one.pump_ratio * random.uniform(0.7, 1.2, count),
        block_heat=one.block_heat * random.uniform(0.5, 1.0, count),
        room_temperature=one.room_temperature + random.uniform(-5.0, 5.0, count),
    )
    found = np.empty((4, count))
    for start in range(0, count, CHUNK):
        here = slice(start, start + CHUNK)
        part = batch.cases_of(given, np.arange(count)[here])
        cases = describe_cases(built, part, machine.solve(built.machine, part))
        found[:, here] = (
            cases.coolant_hottest_c,
            cases.coolant_mean_c,
            cases.flow_l_per_min,
            cases.settled,
        )
    if not found[3].all():
        raise RuntimeError("every case of the sweep is one that settles")
    return found


def peak_mb(count: int) -> float:
    """Give the most memory that a process ever held which swept so many cases."""
    whole_machine(count)
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0


if __name__ == "__main__":
    sys.exit(main())
