"""Time of computing one answer, and against a plain script for the same loop.

Each question is varied from call to call, as a shop varies it, so that no cache of whole
parts flatters the figure. The best of many short runs is given: it is what the code costs
when nothing else disturbs it.
"""

import timeit
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TypeVar

import msgspec

from loopmargin_service.questions import pump_head, radiator_area, steady_state, supply_headroom
from loopmargin_wire.answer import Question
from loopmargin_wire.pump_head import PumpHeadQuestion
from loopmargin_wire.radiator_area import RadiatorAreaQuestion
from loopmargin_wire.steady_state import SteadyStateQuestion
from loopmargin_wire.supply_headroom import SupplyHeadroomQuestion
from tests.performance.plain_loop import PlainLoop

EXAMPLES = Path(__file__).parents[2] / "openapi" / "examples"
LIMITS_MS = {"radiator-area": 1.0, "pump-head": 1.0, "steady-state": 5.0, "supply-headroom": 1.0}
RUNS = 300

Q = TypeVar("Q", bound=Question)


def example(name: str, kind: type[Q]) -> Q:
    """Read the example question of a route."""
    return msgspec.json.decode((EXAMPLES / f"{name}.question.json").read_bytes(), type=kind)


def best_ms(call: Callable[[], object]) -> float:
    """Give the best time of one call."""
    call()
    return min(timeit.repeat(call, number=1, repeat=RUNS)) * 1e3


def varied(name: str) -> Callable[[], object]:
    """Give a call that answers another question each time."""
    vary = msgspec.structs.replace
    steps = iter(range(1, 1_000_000))
    if name == "radiator-area":
        area = example(name, RadiatorAreaQuestion)
        return lambda: radiator_area.answer(vary(area, heat_w=area.heat_w + 1e-3 * next(steps)))
    if name == "pump-head":
        head = example(name, PumpHeadQuestion)
        return lambda: pump_head.answer(vary(head, coolant_c=head.coolant_c + 1e-3 * next(steps)))
    if name == "steady-state":
        whole = example(name, SteadyStateQuestion)
        return lambda: steady_state.answer(vary(whole, rest_w=whole.rest_w + 1e-3 * next(steps)))
    supply = example(name, SupplyHeadroomQuestion)
    return lambda: supply_headroom.answer(vary(supply, rest_w=supply.rest_w + 1e-3 * next(steps)))


def report() -> Iterator[str]:
    """Measure everything, a line each."""
    yield "computing one answer, best of many, one core"
    measured = {}
    for name, limit in LIMITS_MS.items():
        measured[name] = best_ms(varied(name))
        verdict = "within" if measured[name] <= limit else "OVER"
        yield f"  {name:16s} {measured[name]:7.3f} ms   {verdict} {limit:g} ms"
    plain = PlainLoop(example("pump-head", PumpHeadQuestion))
    script = best_ms(plain.answer)
    yield f"  plain script with fluids and scipy.optimize, same loop: {script:.3f} ms"
    yield f"  pump-head takes {measured['pump-head'] / script:.2f} times the plain script, and"
    yield "  answers margins, notes, regimes and the echo of the question as well"
    yield f"  same flow to {abs(plain.deviation()):.1e} of itself"


if __name__ == "__main__":
    for line in report():
        print(line)  # noqa: T201 - a benchmark prints its result
