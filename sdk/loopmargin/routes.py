"""Which question goes where, and what comes back: one line for each."""

from dataclasses import dataclass
from typing import Generic, TypeVar

from loopmargin_wire.answer import Answer, Question
from loopmargin_wire.noise import NoiseAnswer, NoiseQuestion
from loopmargin_wire.pump_head import PumpHeadAnswer, PumpHeadQuestion
from loopmargin_wire.radiator_area import RadiatorAreaAnswer, RadiatorAreaQuestion
from loopmargin_wire.solve_for import SolveForAnswer, SolveForQuestion
from loopmargin_wire.steady_state import SteadyStateAnswer, SteadyStateQuestion
from loopmargin_wire.supply_headroom import SupplyHeadroomAnswer, SupplyHeadroomQuestion
from loopmargin_wire.sweep import SweepAnswer, SweepQuestion
from loopmargin_wire.warm_up import WarmUpAnswer, WarmUpQuestion

Q = TypeVar("Q", bound=Question)
A = TypeVar("A", bound=Answer)


@dataclass(frozen=True)
class Route(Generic[Q, A]):
    """A question of the service by its name in the path and its two types."""

    name: str
    question: type[Q]
    answer: type[A]


RADIATOR_AREA = Route("radiator-area", RadiatorAreaQuestion, RadiatorAreaAnswer)
PUMP_HEAD = Route("pump-head", PumpHeadQuestion, PumpHeadAnswer)
SUPPLY_HEADROOM = Route("supply-headroom", SupplyHeadroomQuestion, SupplyHeadroomAnswer)
STEADY_STATE = Route("steady-state", SteadyStateQuestion, SteadyStateAnswer)
NOISE = Route("noise", NoiseQuestion, NoiseAnswer)
WARM_UP = Route("warm-up", WarmUpQuestion, WarmUpAnswer)
SWEEP = Route("sweep", SweepQuestion, SweepAnswer)
SOLVE_FOR = Route("solve-for", SolveForQuestion, SolveForAnswer)
