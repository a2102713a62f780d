"""What the heat balance is given when some fans stand still, of radiators or on the case.

Coolant flow, coolant properties and the air at the entries stay as they were when the
fans stopped; the air flows are solved again. A standing radiator has a small conductance
of its own, by free convection and radiation, whatever other fans push through it.
"""

import numpy as np
from numpy.typing import NDArray

from loopmargin_service.physics import air, coolant, network
from loopmargin_service.physics.air_path import AirLaw
from loopmargin_service.physics.heat_balance import HeatInput
from loopmargin_service.physics.machine import Equilibrium, Machine, Setting
from loopmargin_service.physics.network import Array, Flows
from loopmargin_service.physics.radiator import AirStream, conductance
from loopmargin_service.physics.rows import row_mean, row_sum

# What walls and leaks of a case without any moving air still carry away; common practice
# for half a square metre of sheet, no source. [W/K]
STILL_CASE = 5.0
# A standing fan is taken at this share of its speed, which keeps its law finite; what it moves
# is less than what walls carry away. [-]
STANDING = 0.01
# With nothing left to drive it the air comes to rest ever more slowly. Below this flow, a
# fiftieth of what walls carry away, it stands; and pressures that balance this well are
# good enough for a machine that is about to be shut down. [kg/s and -]
STILL_FLOW = 1e-4
BALANCED = 1e-6


def heat_with_standing_fans(
    machine: Machine,
    setting: Setting,
    state: Equilibrium,
    standing: NDArray[np.bool_],
    still: Array,
) -> tuple[HeatInput, NDArray[np.bool_]]:
    """
    Give flows, heats and conductances with the fans of some air paths standing.

    Parameters
    ----------
    machine : Machine
        The machine. [SI]
    setting : Setting
        Its setting, one case. [SI]
    state : Equilibrium
        The equilibrium at which the fans stop, one case. [SI]
    standing : ndarray of bool
        Which paths lose their fans, (paths with fans, batch); the radiators come first, then the
        fans on the case, as in `machine.paths`. [-]
    still : ndarray
        Conductance of each radiator in still air, (radiators, 1). [W/K]

    Returns
    -------
    given : HeatInput
        For the heat balance, each (…, batch). [SI]
    converged : ndarray of bool
        Whether the air flows were found, (batch,). [-]

    Notes
    -----
    A case in which no fan stands has the flows and conductances of the equilibrium.
    """
    batch = standing.shape[1]
    flows = _air_flows(machine, setting, state, standing)
    radiators = standing[: len(machine.sections)]
    conductances = np.where(radiators, still, _conductances(machine, setting, state, flows))
    tail, head = machine.path_ends
    into = np.where(head, flows.flow, 0.0) - np.where(tail, flows.flow, 0.0)
    into = np.maximum(into, 0.0) * air.HEAT_CAPACITY
    missing = np.maximum(STILL_CASE - row_sum(into), 0.0) * standing.any(axis=0)
    branches = len(machine.loop.branch_tail)
    mean = np.maximum(row_mean(state.stacked), machine.coldest)
    capacity = coolant.properties(machine.fluid, machine.mass_fraction, mean).heat_capacity
    streams = np.repeat(state.flows.flow * capacity, batch, axis=1)
    given = HeatInput(
        branch_capacity=streams[:branches],
        pump_capacity=streams[branches:],
        block_heat=np.repeat(setting.block_heat, batch, axis=1),
        pump_heat=np.repeat(state.pump_heat, batch, axis=1),
        conductance=conductances,
        air_into_case=np.vstack([into, missing]),
        from_case=np.where(flows.flow >= 0.0, tail, head) * 1.0,
        room=np.repeat(setting.room_temperature, batch),
        case_heat=np.repeat(state.case_heat, batch),
    )
    standing_air = np.abs(flows.flow).max(axis=0) < STILL_FLOW
    return given, (flows.residual < BALANCED) | standing_air


def _air_flows(
    machine: Machine, setting: Setting, state: Equilibrium, standing: NDArray[np.bool_]
) -> Flows:
    """Solve the air flows with some fans at rest."""
    fanned, batch = standing.shape
    ratio = np.repeat(setting.fan_ratio, batch, axis=1)
    ratio[:fanned] = np.where(standing, STANDING * ratio[:fanned], ratio[:fanned])
    density = np.repeat(state.air_density, batch, axis=1)
    temperature = np.repeat(state.air_temperature, batch, axis=1)
    start = np.repeat(state.air_flows.flow, batch, axis=1)
    law = AirLaw(machine.paths, density, temperature, ratio)
    return network.solve(machine.air_topology, law, start)


def _conductances(machine: Machine, setting: Setting, state: Equilibrium, flows: Flows) -> Array:
    """Conductance of every radiator at the air flows found. [W/K]"""
    mean = np.maximum(machine.radiator_place.temperature(state.stacked), machine.coldest)
    liquid = coolant.properties(machine.fluid, machine.mass_fraction, mean)
    rows = []
    for number, section in enumerate(machine.sections):
        path = machine.heat.radiator_path[number]
        stream = AirStream(flows.flow[path], state.air_density[path], state.air_temperature[path])
        here = coolant.Properties(*(part[number] for part in liquid))
        through = state.flows.flow[machine.radiator_branch[number]]
        rows.append(conductance(section, stream, through, here, setting.ua_of(number)))
    return np.stack(rows)
