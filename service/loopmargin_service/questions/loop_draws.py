"""Loops drawn at random: what is uncertain about one, and what its margins need of every draw.

`pump-head` and the whole machine share the causes, the factors and the margins.
"""

from collections.abc import Iterator, Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from loopmargin_service.physics import network
from loopmargin_service.physics.constants import STANDARD_GRAVITY
from loopmargin_service.physics.coolant import Properties
from loopmargin_service.physics.curve import value_and_slope
from loopmargin_service.physics.loop import (
    Loop,
    LoopFactors,
    LoopLaw,
    RunningPumps,
    loop_terms,
)
from loopmargin_service.physics.network import Array
from loopmargin_service.physics.pipe import LAMINAR_LIMIT, TURBULENT_LIMIT
from loopmargin_service.physics.suction import available_suction_head
from loopmargin_service.questions import draws, uncertainty
from loopmargin_service.questions.affinity import pumps_outside
from loopmargin_service.questions.conversion import KPA, L_PER_MIN, MM
from loopmargin_service.questions.draws import Cause, Draws
from loopmargin_service.questions.loop_curve import heads_at_flow
from loopmargin_service.questions.operating_point import Point, Surroundings
from loopmargin_service.questions.pump_speed import total_flow
from loopmargin_wire.part import Pump
from loopmargin_wire.pump_head import PumpHeadQuestion
from loopmargin_wire.uncertainty import LoopUncertainty

TURBULENT = "law of friction"
TRANSITIONAL = "law of friction, transitional"
AIR_CARRYING = "law of air carrying"
FITTINGS = "law of fittings"


class DrawnLoop(NamedTuple):
    """A loop in every draw, in wire units: (draws,), and (branches, …), (passages, …), (pumps, …).

    `head_surplus` [m] is what the pump has at the required flow over what the loop takes;
    `carrying` is the factor on the velocity that carries air. `settled` says which draws have
    an answer.
    """

    flow_l_per_min: Array
    branch_l_per_min: Array
    velocity_m_per_s: Array
    carrying: Array
    suction_head_m: Array
    head_surplus_m: Array
    settled: NDArray[np.bool_]

    def surplus(self, values: Array) -> Array:
        """Give a surplus that draws without an answer do not have."""
        return np.where(self.settled, values, -np.inf)


def causes(asked: LoopUncertainty, pumps: Sequence[Pump]) -> Iterator[Cause]:
    """List what is uncertain about a loop."""
    yield uncertainty.cause(asked, "pump_speed")
    far = pumps_outside(pumps)
    yield uncertainty.affinity(
        uncertainty.PUMP_AFFINITY, uncertainty.BEYOND_PUMP_RANGE, outside=far
    )
    yield uncertainty.cause(asked, "bore")
    yield uncertainty.cause(asked, "part_drop")
    yield uncertainty.cause(asked, "fitting_law", FITTINGS)
    yield uncertainty.cause(asked, "friction_law", TURBULENT)
    yield uncertainty.cause(asked, "transitional_friction_law", TRANSITIONAL)
    yield uncertainty.cause(asked, "air_carrying_law", AIR_CARRYING)
    yield uncertainty.cause(asked, "suction_head_m")


def factors(loop: Loop, drawn: Draws, point: Point) -> LoopFactors:
    """Give the factors of every draw; the regime of a tube is that of the best estimate."""
    rubbing = loop.passages.rubbing
    through = np.abs(point.flow[loop.passages.branch[rubbing], 0])
    everywhere = np.broadcast_to(point.liquid.passages.viscosity, (loop.passages.bore.size, 1))
    reynolds = through / (0.25 * np.pi * loop.passages.bore[rubbing] * everywhere[rubbing, 0])
    between = (reynolds >= LAMINAR_LIMIT) & (reynolds < TURBULENT_LIMIT)
    transitional, turbulent = drawn.factors([TRANSITIONAL, TURBULENT])
    friction = np.where(between[:, None], transitional, turbulent)
    return LoopFactors(
        bore=drawn.factor("bore"),
        friction=friction,
        fittings=drawn.factor(FITTINGS),
        parts=drawn.factor("part drop"),
    )


def speed_factor(drawn: Draws) -> Array | float:
    """Give the factor on every pump speed."""
    return drawn.factor("pump speed") * drawn.factor(uncertainty.PUMP_AFFINITY)


def draw(
    question: PumpHeadQuestion, loop: Loop, point: Point, rest: tuple[Surroundings, float]
) -> tuple[Draws, DrawnLoop] | None:
    """Draw loops about an operating point, if that is asked for; *rest* has the flow wanted."""
    asked, (around, wanted) = question.uncertainty, rest
    if asked is None:
        return None
    drawn = draws.draw(question, asked, causes(asked, question.pumps))
    off = factors(loop, drawn, point)
    ratios = point.speed_ratio * speed_factor(drawn) * np.ones(drawn.size)
    law = LoopLaw(
        loop_terms(loop, point.liquid, off),
        RunningPumps(loop.curves, point.liquid.pumps, ratios),
    )
    found = network.solve(loop.topology, law, np.repeat(point.flow, drawn.size, axis=1))
    every = Point(found.flow, found.pressure, point.liquid, ratios)
    shown = describe(loop, (drawn, off), every, (around, wanted, found.converged))
    return drawn, shown


def describe(
    loop: Loop,
    off: tuple[Draws, LoopFactors],
    every: Point,
    rest: tuple[Surroundings, float, NDArray[np.bool_]],
) -> DrawnLoop:
    """Describe what every draw settled at; *rest* has the required flow [kg/s] and who settled."""
    drawn, apart = off
    around, wanted, settled = rest
    pumps = every.liquid.pumps
    branches = every.flow[: len(loop.branch_tail)]
    bore = loop.passages.bore[:, None] * apart.bore
    area = 0.25 * np.pi * bore * bore * every.liquid.passages.density
    return DrawnLoop(
        flow_l_per_min=total_flow(loop, every.flow) / pumps.density[0] / L_PER_MIN,
        branch_l_per_min=branches / pumps.density[0] / L_PER_MIN,
        velocity_m_per_s=np.abs(every.flow[loop.passages.branch]) / area,
        carrying=drawn.factor(AIR_CARRYING) * np.ones(drawn.size),
        suction_head_m=_suction(loop, every.pressure, pumps, around) + drawn.offset("suction head"),
        head_surplus_m=_head_surplus(loop, apart, every, wanted),
        settled=settled,
    )


def _suction(loop: Loop, pressure: Array, pumps: Properties, around: Surroundings) -> Array:
    """Suction head of every pump in every draw. [m]"""
    surface = around.room_pressure + around.reservoir.surface_pressure_kpa * KPA
    level = around.reservoir.level_above_pump_mm * MM
    below = -pressure[np.array(loop.pump_tail)] / (pumps.density * STANDARD_GRAVITY)
    return available_suction_head(surface, around.vapour_pressure, pumps.density, level, below)


def _head_surplus(loop: Loop, off: LoopFactors, every: Point, wanted: float) -> Array:
    """Head left at the required flow in every draw, where one pump makes that clear. [m]"""
    count = every.flow.shape[1]
    if len(loop.curves) > 1:
        return np.full(count, -np.inf)
    terms, flow = loop_terms(loop, every.liquid, off), np.full(count, wanted)
    taken = heads_at_flow(loop, terms, every.liquid, flow)
    volume = flow / every.liquid.pumps.density[0]
    return value_and_slope(loop.curves[0], volume, every.speed_ratio[0])[0] - taken
