"""Time of computing one answer, and against a plain script for the same loop.

Each question is varied from call to call, as a shop varies it, so that no cache of whole
parts flatters the figure. The best of many short runs is given: it is what the code costs
when nothing else disturbs it.
"""

import sys
import timeit
from collections.abc import Callable
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
# The same with as many draws as are the default.
DRAWN_LIMITS_MS = {
    "radiator-area": 5.0,
    "pump-head": 5.0,
    "steady-state": 40.0,
    "supply-headroom": 3.0,
}
RUNS = 150

Q = TypeVar("Q", bound=Question)


def example(name: str, kind: type[Q]) -> Q:
    """Read the example question of a route."""
    return msgspec.json.decode((EXAMPLES / f"{name}.question.json").read_bytes(), type=kind)


def best_ms(call: Callable[[], object]) -> float:
    """Give the best time of one call."""
    call()
    return min(timeit.repeat(call, number=1, repeat=RUNS)) * 1e3


def varied(name: str, *, drawn: bool) -> Callable[[], object]:
    """Give a call that answers another question each time, with the default draws or without."""

    def vary(question: Q, **changed: object) -> Q:
        doubt = {} if drawn else {"uncertainty": None}
        return msgspec.structs.replace(question, **changed, **doubt)

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


def measure(limits: dict[str, float], *, drawn: bool) -> tuple[dict[str, float], bool]:
    """Measure and print every question; say whether all limits are met."""
    measured = {name: best_ms(varied(name, drawn=drawn)) for name in limits}
    how = "drawn" if drawn else "plain"
    for name, limit in limits.items():
        verdict = "meets" if measured[name] <= limit else "FAILS"
        sys.stdout.write(f"{verdict}  {name}, {how}: {measured[name]:.3f} ms (most {limit:g} ms)\n")
    return measured, all(measured[name] <= limit for name, limit in limits.items())


def main() -> int:
    """Measure, print, and fail when a limit is missed."""
    sys.stdout.write("computing one answer, the best of many, one core\n")
    measured, good = measure(LIMITS_MS, drawn=False)
    _, drawn_good = measure(DRAWN_LIMITS_MS, drawn=True)
    plain = PlainLoop(example("pump-head", PumpHeadQuestion))
    script = best_ms(plain.answer)
    sys.stdout.write(
        f"       the same loop in a plain script with fluids and scipy.optimize: {script:.3f} ms;\n"
        f"       pump-head takes {measured['pump-head'] / script:.2f} times that, and answers the\n"
        f"       drop and regime of every element, margins, notes and the echo as well;\n"
        f"       the two flows differ by {abs(plain.deviation()):.0e} of themselves\n"
    )
    return 0 if good and drawn_good else 1


if __name__ == "__main__":
    sys.exit(main())
