"""Many cases of one machine as arrays: what each settles at, and whether it may be believed."""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from loopmargin_service.physics import cold_plate
from loopmargin_service.physics.machine import Equilibrium, Setting
from loopmargin_service.physics.network import Array
from loopmargin_service.physics.rows import row_mean
from loopmargin_service.questions import parts
from loopmargin_service.questions.affinity import FASTEST_ROUNDED
from loopmargin_service.questions.conversion import L_PER_MIN, ZERO_CELSIUS
from loopmargin_service.questions.machine_build import Built
from loopmargin_service.questions.operating_point import Surroundings
from loopmargin_service.questions.pump_speed import total_flow
from loopmargin_wire.part import Reservoir
from loopmargin_wire.steady_state import SteadyStateQuestion

HOTTEST_COOLANT_C = 95.0
HOTTEST_CASE_C = 80.0


class BlockFactors(NamedTuple):
    """Factors on the resistance of each block and of its interface, (blocks, batch). [-]"""

    block: Array | float = 1.0
    interface: Array | float = 1.0


class Cases(NamedTuple):
    """What the cases settle at, in wire units, each (batch,) but components (blocks, batch).

    `heat_w` is what blocks and pumps give to the coolant.

    `settled` says which cases converged inside the range of the laws.
    """

    coolant_hottest_c: Array
    coolant_mean_c: Array
    component_c: Array
    flow_l_per_min: Array
    case_air_c: Array
    heat_w: Array
    settled: NDArray[np.bool_]

    @property
    def states(self) -> tuple[Array, ...]:
        """Give what a sweep has columns of: coolant, flow, case air and every part."""
        return (
            self.coolant_hottest_c,
            self.coolant_mean_c,
            self.flow_l_per_min,
            self.case_air_c,
            *self.component_c,
        )

    def surpluses(self, question: SteadyStateQuestion, limits_c: Array) -> Array:
        """Give what is left of each limit: coolant, flow and every part, (limits, batch).

        A case that did not settle has nothing left.
        """
        rows = (
            question.coolant_limit_c - self.coolant_hottest_c,
            self.flow_l_per_min - question.required_flow_l_per_min,
            *(limits_c[:, None] - self.component_c),
        )
        return np.where(self.settled, np.stack(rows), -np.inf)


def describe_cases(
    built: Built, setting: Setting, state: Equilibrium, factors: BlockFactors | None = None
) -> Cases:
    """Describe all cases at once.

    Cases with *factors* are drawn about one that is as asked, whose speeds were looked at.
    """
    loop = built.machine.loop
    density = state.liquid.pumps.density[0]
    hottest = state.stacked.max(axis=0) - ZERO_CELSIUS
    case_air = state.temperatures.case - ZERO_CELSIUS
    inside = (hottest <= HOTTEST_COOLANT_C) & (case_air <= HOTTEST_CASE_C)
    if factors is None:
        speeds = np.concatenate([setting.pump_ratio, setting.fan_ratio])
        inside &= (speeds <= FASTEST_ROUNDED).all(axis=0)
    return Cases(
        coolant_hottest_c=hottest,
        coolant_mean_c=row_mean(state.stacked) - ZERO_CELSIUS,
        component_c=_components(built, setting, state, factors or BlockFactors()),
        flow_l_per_min=total_flow(loop, state.flows.flow) / density / L_PER_MIN,
        case_air_c=case_air,
        heat_w=setting.block_heat.sum(axis=0) + state.pump_heat.sum(axis=0),
        settled=np.asarray(state.converged & inside),
    )


def surroundings(question: SteadyStateQuestion, built: Built, state: Equilibrium) -> Surroundings:
    """Give what fixes the static pressure in the first case."""
    return Surroundings(
        parts.room_pressure(question.room),
        question.reservoir or Reservoir(node=question.pumps[0].from_node),
        float(state.temperatures.nodes[built.machine.loop.reference, 0]),
    )


def _components(built: Built, setting: Setting, state: Equilibrium, factors: BlockFactors) -> Array:
    """Temperature of every cooled part. [degC]"""
    if not built.blocks:
        return np.zeros((0, state.change.size))
    branch = np.array([item.branch for item in built.blocks])
    place = np.array([item.place for item in built.blocks])
    minimum, factor, exponent = np.array([item.law for item in built.blocks]).T[:, :, None]
    interface = np.array([item.wire.interface_k_per_w for item in built.blocks])[:, None]
    flow = state.flows.flow[branch]
    entering = np.where(flow >= 0.0, state.stacked[place], state.stacked[place + 1])
    volume = np.abs(flow) / state.liquid.pumps.density[0]
    resistance = factors.block * cold_plate.resistance(minimum, factor, exponent, volume)
    return np.asarray(
        entering - ZERO_CELSIUS + setting.block_heat * (resistance + factors.interface * interface)
    )
