"""The whole machine at equilibrium: coolant flow, air flow and heat solved together.

Viscosity and density follow the local coolant temperature, air density the air's, and
both flows set the conductance of every radiator; so the three solves are repeated until
no temperature moves. The coupling is weak (a kelvin changes a flow by a fraction of a
per cent), so plain repetition converges by one to two digits each time.

Arrays end in the batch axis. Elements of a branch that exchange heat cut it into
stretches; `place` arrays say where along the stacked branch profiles something sits.
"""

from dataclasses import dataclass, replace
from functools import cached_property
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from loopmargin_service.physics import air, coolant, network
from loopmargin_service.physics.air_path import CASE, AirLaw, AirPath, air_topology
from loopmargin_service.physics.batch import cases_of, put_cases, repeat_until_settled
from loopmargin_service.physics.heat_balance import (
    HeatInput,
    HeatLayout,
    Temperatures,
    settle,
)
from loopmargin_service.physics.loop import (
    AS_DESCRIBED,
    Liquid,
    Loop,
    LoopFactors,
    LoopLaw,
    RunningPumps,
    loop_terms,
)
from loopmargin_service.physics.network import Array, Flows, Law
from loopmargin_service.physics.radiator import AirStream, Section, conductance
from loopmargin_service.physics.rows import Index, row_sum
from loopmargin_service.physics.sites import Coolant, Place, Sites, sites

ITERATION_LIMIT = 60
# Last movement of a temperature [K] and of a flow [-]; each repetition shrinks it about a
# hundredfold, so what is left is far smaller.
TOLERANCE = 1e-4
FLOW_TOLERANCE = 1e-5
# A flow that would move by more than this share is solved from the start.
FAR = 0.2
# From this repetition on flows are always solved anew, and from the next temperatures move
# only half-way: an opening whose air turns back and forth would otherwise never settle.
CAREFUL = 8
HALF_WAY = 16
# First guesses; the solution does not depend on them.
START_RISE = 10.0
START_FLOW = 0.04
START_AIR_FLOW = 0.01
# Beyond this the tolerance grows with the temperature, which is then a runaway anyway. [K]
HOT = 1000.0
# Properties are taken no warmer than this; the caller refuses such a state anyway.
PROPERTY_LIMIT = coolant.TEMPERATURE_MAX
# And air properties no warmer than this. [K]
AIR_LIMIT = 400.0
FREEZING_GUARD = 0.5


@dataclass(frozen=True)
class Machine:
    """Everything that does not change with the setting."""

    fluid: coolant.Fluid
    mass_fraction: float
    loop: Loop
    heat: HeatLayout
    passage_place: Place
    component_place: Place
    radiator_place: Place
    radiator_branch: Index
    sections: tuple[Section, ...]
    paths: tuple[AirPath, ...]

    @cached_property
    def coldest(self) -> float:
        """Lowest temperature that coolant properties are taken at. [K]"""
        freezing = coolant.freezing_temperature(self.fluid, self.mass_fraction)
        return float(freezing) + FREEZING_GUARD

    @cached_property
    def sites(self) -> Sites:
        """Places at which the state of the coolant is asked for."""
        return sites(self.passage_place, self.component_place, self.radiator_place)

    @cached_property
    def placed_loop(self) -> Loop:
        """The loop, which knows what passages have the same coolant in them."""
        return replace(self.loop, stretch=self.sites.passages)

    @cached_property
    def pump_ends(self) -> tuple[Index, Index]:
        """Nodes that the pumps draw from, and those that they give to; (pumps,)."""
        tail, head = self.loop.pump_tail, self.loop.pump_head
        return np.array(tail, dtype=np.intp), np.array(head, dtype=np.intp)

    @cached_property
    def air_topology(self) -> network.Topology:
        """Network of the air paths."""
        return air_topology(self.paths)

    @cached_property
    def path_ends(self) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
        """Whether each path begins, and ends, in the case; (paths, 1)."""
        tail = np.array([path.tail == CASE for path in self.paths])[:, None]
        head = np.array([path.head == CASE for path in self.paths])[:, None]
        return tail, head


class Setting(NamedTuple):
    """What is turned and what the room does, each (…, batch). [SI]

    `pump_heat` is what the motors give to the coolant; the hydraulic power, which always
    ends there, stands in for it where it is larger. `pump_power` is what the motors take: what
    of it does not end in the coolant warms the case air, beside `case_heat`. The factors are on
    the conductance UA of the radiators, (radiators, batch), and on what the loop loses; they are
    one unless a case stands for a machine that departs from its laws.
    """

    block_heat: Array
    pump_heat: Array
    pump_ratio: Array
    fan_ratio: Array
    room_temperature: Array
    room_pressure: Array
    case_heat: Array
    pump_power: Array | float = 0.0
    ua_factor: Array | float = 1.0
    loop_factors: LoopFactors = AS_DESCRIBED

    def ua_of(self, radiator: int) -> Array | float:
        """Give the factor on the conductance of one radiator. [-]"""
        return self.ua_factor[radiator] if isinstance(self.ua_factor, np.ndarray) else 1.0

    def cases(self, chosen: Index) -> "Setting":
        """Give the setting of some cases alone."""
        return cases_of(self, chosen)


class Equilibrium(NamedTuple):
    """The settled machine and how the iteration ended, each (…, batch). [SI]

    `pump_heat` goes to the coolant and `case_heat` to the case air, pumps' included.
    `iterations` [-] are those that the case itself took.
    """

    liquid: Liquid
    flows: Flows
    air_flows: Flows
    air_density: Array
    air_temperature: Array
    conductance: Array
    pump_heat: Array
    case_heat: Array
    temperatures: Temperatures
    stacked: Array
    change: Array
    converged: NDArray[np.bool_]
    iterations: Index


def solve(machine: Machine, setting: Setting) -> Equilibrium:
    """
    Solve for the equilibrium of all cases.

    Parameters
    ----------
    machine : Machine
        Parts and how they are joined. [SI]
    setting : Setting
        Heats, speeds and room, (…, batch). [SI]

    Returns
    -------
    Equilibrium
        State, with `change` the last movement of any temperature. [K]

    Notes
    -----
    Temperatures beyond the range of the coolant properties are returned as the linear
    balance gives them, with properties held at the limit: the caller must look. A case
    with `converged` false must not be used.
    """

    def step(setting: Setting, state: Equilibrium) -> Equilibrium:
        return _repeat(machine, setting, state)

    return repeat_until_settled(step, setting, _start(machine, setting), ITERATION_LIMIT)


def _start(machine: Machine, setting: Setting) -> Equilibrium:
    """Give flat temperatures a little over the room's, and plausible flows."""
    batch = setting.room_temperature.size
    warm = setting.room_temperature + START_RISE
    points = sum(len(elements) + 1 for elements in machine.heat.elements)
    profile = np.tile(warm, (points, 1))
    temperatures = Temperatures(np.tile(warm, (machine.heat.node_count, 1)), (), warm)
    links = len(machine.loop.topology.tail)
    nothing = np.zeros((1, batch))
    unsolved = np.zeros(batch, dtype=np.bool_)
    none = np.zeros(batch, dtype=np.intp)
    return Equilibrium(
        liquid=Liquid(*[coolant.Properties(*[nothing] * 4)] * 3),
        flows=Flows(np.full((links, batch), START_FLOW), nothing, nothing[0], unsolved, none),
        air_flows=Flows(
            np.full((len(machine.paths), batch), START_AIR_FLOW),
            nothing,
            nothing[0],
            unsolved,
            none,
        ),
        air_density=nothing,
        air_temperature=nothing,
        conductance=nothing,
        pump_heat=nothing,
        case_heat=nothing[0],
        temperatures=temperatures,
        stacked=profile,
        change=np.full(batch, np.inf),
        converged=unsolved,
        iterations=none,
    )


def _repeat(machine: Machine, setting: Setting, state: Equilibrium) -> Equilibrium:
    """Solve coolant flow, air flow and heat once, each with the newest of the others."""
    liquid, in_radiators, heat_capacity = _coolant(machine, state)
    pumps = RunningPumps(machine.loop.curves, liquid.pumps, setting.pump_ratio)
    terms = loop_terms(machine.placed_loop, liquid, setting.loop_factors)
    careful = int(state.iterations[0]) >= CAREFUL
    flows = _flows(machine.loop.topology, LoopLaw(terms, pumps), state.flows, careful=careful)
    density, temperature, from_case = _air_state(machine, setting, state)
    law = AirLaw(machine.paths, density, temperature, setting.fan_ratio)
    air_flows = _flows(machine.air_topology, law, state.air_flows, careful=careful)
    given_air = (air_flows.flow, density, temperature)
    conductances = _conductances(machine, setting, (in_radiators, flows), given_air)
    pump_heat = _pump_heat(machine, setting, flows, liquid)
    case_heat = setting.case_heat + row_sum(np.maximum(setting.pump_power - pump_heat, 0.0))
    given = _heat_input(
        machine,
        setting._replace(pump_heat=pump_heat, case_heat=case_heat),
        flows,
        air_flows,
        (heat_capacity, from_case, conductances),
    )
    temperatures, stacked = _moved(state, settle(machine.heat, given))
    change = np.maximum(
        np.abs(stacked - state.stacked).max(axis=0),
        np.abs(temperatures.case - state.temperatures.case),
    ) / np.maximum(1.0, stacked.max(axis=0) / HOT)
    return Equilibrium(
        liquid,
        flows,
        air_flows,
        density,
        temperature,
        conductances,
        pump_heat,
        case_heat,
        temperatures,
        stacked,
        change,
        (change < TOLERANCE) & flows.converged & air_flows.converged,
        state.iterations + 1,
    )


def _moved(state: Equilibrium, settled: Temperatures) -> tuple[Temperatures, Array]:
    """Take the new temperatures, or go half-way to them when they will not settle."""
    stacked = np.concatenate(settled.profiles)
    if int(state.iterations[0]) < HALF_WAY:
        return settled, stacked
    before = state.temperatures
    halves = Temperatures(
        0.5 * (before.nodes + settled.nodes),
        settled.profiles,
        0.5 * (before.case + settled.case),
    )
    return halves, 0.5 * (state.stacked + stacked)


def _flows(topology: network.Topology, law: Law, before: Flows, *, careful: bool) -> Flows:
    """Bring flows up to date: by one Newton step when near, solved anew when far off or careful.

    After one step the relative step, zero at the solution, takes the place of the residual.
    """
    if careful:
        return network.solve(topology, law, before.flow)
    pressure, _, step = network.newton_step(topology, before.flow, *law(before.flow))
    flow = before.flow + step
    change = network.relative_change(step, flow)
    once = np.ones(change.size, dtype=np.intp)
    found = Flows(flow, pressure, change, change < FLOW_TOLERANCE, once)
    far = np.flatnonzero(~(change <= FAR))
    if far.size == change.size:
        return network.solve(topology, law, before.flow)
    if far.size:
        solved = network.solve(topology, law.cases(far), before.flow.take(far, axis=-1))
        put_cases(found, solved, far)
    return found


def _coolant(machine: Machine, state: Equilibrium) -> Coolant:
    """Properties of the coolant everywhere, held at the ends of their range."""
    pumps = state.temperatures.nodes[machine.pump_ends[0]]
    temperature = machine.sites.temperatures(state.stacked, pumps)
    held = np.minimum(np.maximum(temperature, machine.coldest), PROPERTY_LIMIT)
    every = coolant.properties(machine.fluid, machine.mass_fraction, held)
    return machine.sites.coolant(every)


def _air_state(
    machine: Machine, setting: Setting, state: Equilibrium
) -> tuple[Array, Array, Array]:
    """Density and temperature of the air that enters each path, and whether from the case."""
    tail, head = machine.path_ends
    from_case = np.where(state.air_flows.flow >= 0.0, tail, head)
    case = np.maximum(state.temperatures.case, setting.room_temperature)
    case = np.minimum(case, np.maximum(AIR_LIMIT, setting.room_temperature))
    temperature = np.where(from_case, case, setting.room_temperature)
    return air.density(setting.room_pressure, temperature), temperature, from_case * 1.0


def _conductances(
    machine: Machine,
    setting: Setting,
    coolant_side: tuple[coolant.Properties, Flows],
    given_air: tuple[Array, Array, Array],
) -> Array:
    """Conductance of every radiator between entering coolant and entering air."""
    every, flows = coolant_side
    rows = []
    for number, section in enumerate(machine.sections):
        path = machine.heat.radiator_path[number]
        stream = AirStream(*(part[path] for part in given_air))
        liquid = coolant.Properties(*(part[number] for part in every))
        flow = flows.flow[machine.radiator_branch[number]]
        rows.append(conductance(section, stream, flow, liquid, setting.ua_of(number)))
    return np.stack(rows)


def _pump_heat(machine: Machine, setting: Setting, flows: Flows, liquid: Liquid) -> Array:
    """Heat that each pump gives to the coolant: its motor's share, or at least its work."""
    pressure = flows.pressure
    tail, head = machine.pump_ends
    gain = pressure[head] - pressure[tail]
    work = gain * flows.flow[len(machine.loop.branch_tail) :] / liquid.pumps.density
    return np.asarray(np.maximum(setting.pump_heat, work))


def _heat_input(
    machine: Machine,
    setting: Setting,
    flows: Flows,
    air_flows: Flows,
    rest: tuple[Array, Array, Array],
) -> HeatInput:
    """Gather what the heat balance needs; one heat capacity stands for the whole loop."""
    capacity, from_case, conductances = rest
    branches = len(machine.loop.branch_tail)
    tail, head = machine.path_ends
    into = np.where(head, air_flows.flow, 0.0) - np.where(tail, air_flows.flow, 0.0)
    return HeatInput(
        branch_capacity=flows.flow[:branches] * capacity,
        pump_capacity=flows.flow[branches:] * capacity,
        block_heat=setting.block_heat,
        pump_heat=setting.pump_heat,
        conductance=conductances,
        air_into_case=np.maximum(into, 0.0) * air.HEAT_CAPACITY,
        from_case=from_case,
        room=setting.room_temperature,
        case_heat=setting.case_heat,
    )
