"""The operating point of a loop as wire states: elements, branches and pumps."""

from collections.abc import Sequence
from typing import Literal, NamedTuple

import numpy as np

from loopmargin_service.physics import air_carry, coolant
from loopmargin_service.physics.constants import STANDARD_GRAVITY
from loopmargin_service.physics.coolant import Properties
from loopmargin_service.physics.loop import Liquid, Loop, component_terms, pump_gain
from loopmargin_service.physics.network import Array
from loopmargin_service.physics.passage import passage_drop
from loopmargin_service.physics.pipe import LAMINAR_LIMIT, TURBULENT_LIMIT
from loopmargin_service.physics.suction import available_suction_head
from loopmargin_service.questions.conversion import KPA, L_PER_MIN, MM, out
from loopmargin_service.questions.pipework import AnyBranch, Pipework
from loopmargin_wire.part import Pump, Reservoir
from loopmargin_wire.pump_head import BranchState, ElementState, PumpState

VERTICAL = 0.5 * np.pi
# Of clean water at 25 degC, IAPWS R1-76(2014); additives lower it. [N/m]
SURFACE_TENSION = 0.0720
# Affinity: power follows the cube of speed.
POWER_EXPONENT = 3.0


class Point(NamedTuple):
    """One case of a solved loop, without its batch axis: mass flows, pressures, coolant."""

    flow: Array
    pressure: Array
    liquid: Liquid
    speed_ratio: Array


def case(
    flow: Array, pressure: Array, liquid: Liquid, speed_ratio: Array, number: int = 0
) -> Point:
    """Take one case out of a batch, keeping a batch axis of one for the laws."""
    take = slice(number, number + 1)

    def one(part: Properties) -> Properties:
        return Properties(*(np.broadcast_to(a, (a.shape[0], flow.shape[1]))[:, take] for a in part))

    return Point(
        flow[:, take],
        pressure[:, take],
        Liquid(*(one(part) for part in liquid)),
        speed_ratio[:, take],
    )


def regime(reynolds: float) -> Literal["laminar", "transitional", "turbulent"]:
    """Name the flow regime of a tube."""
    if reynolds < LAMINAR_LIMIT:
        return "laminar"
    return "transitional" if reynolds < TURBULENT_LIMIT else "turbulent"


def element_states(
    pipework: Pipework, branches: Sequence[AnyBranch], point: Point
) -> tuple[ElementState, ...]:
    """Describe every element in the order of the question."""
    loop = pipework.loop
    inside = point.flow[loop.passages.branch]
    passages = passage_drop(loop.passages, point.liquid.passages, inside)[:, 0]
    through = point.flow[loop.components.branch]
    linear, quadratic = component_terms(loop.components, point.liquid.components)
    components = (through * (linear + quadratic * np.abs(through)))[:, 0]
    bore = loop.passages.bore
    velocity = inside[:, 0] / (point.liquid.passages.density[:, 0] * 0.25 * np.pi * bore * bore)
    reynolds = (
        np.abs(velocity)
        * bore
        * (point.liquid.passages.density / point.liquid.passages.viscosity)[:, 0]
    )
    carrying = air_carry.velocity_to_clear_pockets(bore, VERTICAL)
    inside_liquid = point.liquid.passages
    rising = air_carry.slug_rise_velocity(
        bore, inside_liquid.density[:, 0], inside_liquid.viscosity[:, 0], SURFACE_TENSION
    )
    states = []
    for piece in pipework.pieces:
        name = branches[piece.branch].name
        if piece.passage is None:
            assert piece.component is not None  # noqa: S101 - a piece is one or the other
            drop = out(components[piece.component], KPA)
            states.append(ElementState(branch=name, element=piece.name, pressure_drop_kpa=drop))
            continue
        row = piece.passage
        states.append(
            ElementState(
                branch=name,
                element=piece.name,
                pressure_drop_kpa=out(passages[row], KPA),
                velocity_m_per_s=float(velocity[row]),
                reynolds=float(reynolds[row]),
                regime=regime(float(reynolds[row])) if piece.straight else None,
                velocity_to_carry_air_m_per_s=float(carrying[row]) if piece.straight else None,
                slug_rise_velocity_m_per_s=float(rising[row]) if piece.straight else None,
            )
        )
    return tuple(states)


def branch_states(
    pipework: Pipework, branches: Sequence[AnyBranch], point: Point
) -> tuple[BranchState, ...]:
    """Describe every branch; volume flow is at the coolant entering the pumps."""
    density = float(point.liquid.pumps.density[0, 0])
    loop = pipework.loop
    return tuple(
        BranchState(
            branch=branch.name,
            flow_l_per_min=out(point.flow[row, 0] / density, L_PER_MIN),
            pressure_drop_kpa=out(
                point.pressure[loop.branch_tail[row], 0] - point.pressure[loop.branch_head[row], 0],
                KPA,
            ),
        )
        for row, branch in enumerate(branches)
    )


class Surroundings(NamedTuple):
    """What fixes the static pressure: room [Pa], reservoir, coolant temperature [K]."""

    room_pressure: float
    reservoir: Reservoir
    temperature: float

    @property
    def vapour_pressure(self) -> float:
        """Pressure at which the coolant boils. [Pa]"""
        return float(coolant.saturation_pressure(np.float64(self.temperature)))


def pump_states(
    loop: Loop, pumps: Sequence[Pump], point: Point, around: Surroundings
) -> tuple[PumpState, ...]:
    """Describe every pump, with the static pressure at its inlet."""
    flows = point.flow[len(loop.branch_tail) :]
    gain = pump_gain(loop.curves, point.liquid.pumps, flows, point.speed_ratio)[0][:, 0]
    vapour = around.vapour_pressure
    surface = around.room_pressure + around.reservoir.surface_pressure_kpa * KPA
    level = around.reservoir.level_above_pump_mm * MM
    states = []
    for row, pump in enumerate(pumps):
        density = float(point.liquid.pumps.density[row, 0])
        volume = max(float(flows[row, 0]), 0.0) / density
        hydraulic = max(float(gain[row]) * volume, 0.0)
        electrical, heat = pump_power(pump, hydraulic)
        below = -float(point.pressure[loop.pump_tail[row], 0]) / (density * STANDARD_GRAVITY)
        inlet = surface + density * STANDARD_GRAVITY * (level - below)
        states.append(
            PumpState(
                pump=pump.name,
                flow_l_per_min=out(volume, L_PER_MIN),
                head_m=float(gain[row]) / (density * STANDARD_GRAVITY),
                speed_rpm=pump.speed_rpm,
                hydraulic_power_w=hydraulic,
                electrical_power_w=electrical,
                heat_to_coolant_w=heat,
                inlet_pressure_kpa=out(inlet, KPA),
                suction_head_m=float(
                    available_suction_head(surface, vapour, density, level, below)
                ),
            )
        )
    return tuple(states)


def pump_power(pump: Pump, hydraulic: float) -> tuple[float, float]:
    """Give electrical power and heat to the coolant. [W]

    The hydraulic power always ends in the coolant, and no pump takes less than that.
    """
    electrical = stated_power(pump)
    heat = max(electrical * pump.heat_to_coolant_fraction, hydraulic)
    return max(electrical, hydraulic), heat


def stated_power(pump: Pump) -> float:
    """Give the electrical power stated of a pump, at its speed. [W]"""
    ratio = pump.speed_rpm / pump.curve_speed_rpm
    return float(pump.electrical_power_w * ratio**POWER_EXPONENT)
