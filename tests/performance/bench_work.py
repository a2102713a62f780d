"""The work that each question is estimated to be, against what it is on this machine.

The middle ratio of all is how fast this machine is; what counts is how far each lies from it.
The processor's time is measured, not the clock's, so that other work disturbs little. The
estimates stand in `questions/work.py`; where they are off for good, correct them there.
"""

import statistics
import sys
import time
from collections.abc import Callable, Iterator
from typing import Any, NamedTuple

import msgspec
import numpy as np

from loopmargin_service.http.encode import answered
from loopmargin_service.http.routes import ROUTES
from loopmargin_wire.answer import Question
from loopmargin_wire.sweep import FactorAxis, FieldAxis
from tests.performance.bench_compute import EXAMPLES

# A wrong estimate lets in or shuts out so many times too much; the pace learned corrects the rest.
MOST_OFF = 3.0
# Where a calculation this short is done is beyond doubt, however much shorter it is. [s]
SHORT_S = 2e-3
RUNS, LEAST_S = 3, 0.2

ROWS = {row.name: row for row in ROUTES}
vary = msgspec.structs.replace


class Asked(NamedTuple):
    """One question of the table."""

    name: str
    route: str
    question: Any


class Measured(NamedTuple):
    """Estimate and measurement of one question. [s]"""

    asked: Asked
    estimated_s: float
    took_s: float

    @property
    def ratio(self) -> float:
        """Measured seconds for each second estimated."""
        return self.took_s / self.estimated_s


def main() -> int:
    """Measure, print, and fail when an estimate is far off the others."""
    rows = [measured(asked) for asked in questions()]
    pace = statistics.median(row.ratio for row in rows)
    sys.stdout.write(f"work estimated and measured; this machine takes {pace:.2f} times as long\n")
    good = True
    for row in rows:
        off = row.ratio / pace
        too_long = off < 1.0 / MOST_OFF and row.estimated_s > SHORT_S
        meets = off <= MOST_OFF and not too_long
        good &= meets
        sys.stdout.write(
            f"{'meets' if meets else 'FAILS'}  {row.asked.name:34}"
            f"{1e3 * row.estimated_s:9.2f} ms estimated{1e3 * row.took_s:9.2f} ms taken"
            f"{off:7.2f} of the others (1/{MOST_OFF:g} to {MOST_OFF:g})\n"
        )
    return 0 if good else 1


def measured(asked: Asked) -> Measured:
    """Answer one question a few times, as a worker would."""
    row = ROWS[asked.route]

    def answer() -> bytes:
        return answered(row.compute, row.answer, asked.question)

    best_s = min(_cpu_s(answer) for _ in range(RUNS))
    return Measured(asked, row.work(asked.question), best_s)


def _cpu_s(call: Callable[[], object]) -> float:
    """Processor time of one call, over as many as it takes to measure it. [s]"""
    count, began_s = 0, time.process_time()
    while (took_s := time.process_time() - began_s) < LEAST_S or not count:
        call()
        count += 1
    return took_s / count


def questions() -> Iterator[Asked]:
    """Give the examples, then larger ones of those that can grow."""
    found = {name: example(name) for name in ROWS}
    for name, question in found.items():
        yield Asked(name, name, question)
    machine = found["steady-state"]
    yield Asked("steady-state, three loops' parts", "steady-state", longer(machine, 3))
    for draws in (200, 5000, 20_000):
        yield Asked(f"steady-state, {draws} draws", "steady-state", drawn(machine, draws))
    for size in (10, 45, 140):
        yield Asked(f"sweep, {size * size} cases", "sweep", swept(found["sweep"], size))
    for draws in (200, 1000):
        tight = vary(swept(found["sweep"], 5), draws=draws)
        yield Asked(f"sweep, 25 cases of {draws} draws", "sweep", tight)
    for bores in (10, 100):
        yield Asked(f"sweep, {bores} machines", "sweep", rebuilt(found["sweep"], bores))
    search = found["solve-for"]
    yield Asked("solve-for, 1000 draws", "solve-for", vary(search, machine=drawn(machine, 1000)))


def example(name: str) -> Question:
    """Read the example question of a route."""
    body = (EXAMPLES / f"{name}.question.json").read_bytes()
    return msgspec.json.decode(body, type=ROWS[name].question)


def longer(machine: Any, times: int) -> Any:  # noqa: ANN401 - any question with branches
    """Repeat the tubes and fittings of a machine so many times, which adds nothing but drop."""
    longest = max(machine.branches, key=lambda branch: len(branch.elements))
    tubes = [one for one in longest.elements if not {"power_w", "fans"} & set(dir(one))]
    more = vary(longest, elements=(*longest.elements, *tubes * (times - 1)))
    rest = tuple(branch for branch in machine.branches if branch is not longest)
    return vary(machine, branches=(more, *rest))


def drawn(machine: Any, draws: int) -> Any:  # noqa: ANN401 - any question with uncertainty
    """Ask for so many machines drawn."""
    kind = type(machine)
    asked = msgspec.to_builtins(machine)
    return msgspec.convert({**asked, "uncertainty": {"draws": draws}}, kind)


def swept(sweep: Any, size: int) -> Any:  # noqa: ANN401 - a sweep
    """Ask for a square of cases."""
    room = FieldAxis(pointer="/room/air_c", values=tuple(np.linspace(18.0, 32.0, size).tolist()))
    fans = FactorAxis(of="fan_speeds", values=tuple(np.linspace(0.6, 1.2, size).tolist()))
    return vary(sweep, axes=(room, fans))


def rebuilt(sweep: Any, machines: int) -> Any:  # noqa: ANN401 - a sweep
    """Ask for so many machines at ten fan speeds each."""
    values = tuple(np.linspace(8.0, 12.0, machines).tolist())
    bores = FieldAxis(pointer="/branches/0/elements/0/bore_mm", values=values)
    fans = FactorAxis(of="fan_speeds", values=tuple(np.linspace(0.6, 1.2, 10).tolist()))
    return vary(sweep, axes=(bores, fans))


if __name__ == "__main__":
    sys.exit(main())
