"""A settled machine as a system in time: its start from cold, and what every trace reads."""

from typing import NamedTuple

import numpy as np

from loopmargin_service.physics import fan_loss, lumped, transient
from loopmargin_service.physics import machine as physics
from loopmargin_service.physics.heat_balance import HeatInput
from loopmargin_service.physics.lumped import Lumped, Stores
from loopmargin_service.physics.network import Array
from loopmargin_service.questions import heat_inventory, machine_build
from loopmargin_service.questions.conversion import MINUTE, out
from loopmargin_service.questions.heat_inventory import Contents
from loopmargin_service.questions.machine_build import Built
from loopmargin_wire.radiator import RatedRadiator
from loopmargin_wire.steady_state import MachineState
from loopmargin_wire.warm_up import (
    ComponentTrace,
    PartSettling,
    Reading,
    Settling,
    Trace,
    WarmUpQuestion,
)

# Longest start that is followed, and the steps of its trace. [s]
DAY = 86_400.0
STEPS = 120
# A trace goes this much beyond what it is about, and takes at least this long. [s]
TRACE_SPARE = 1.25
LEAST_START = 60.0
# Share of a core's resistance on its air side, as assumed for rated radiators.
AIR_SHARE = 0.75
# A coolant that changes no faster than this has settled. [K/s]
NO_SLOPE = 1e-12


class Running(NamedTuple):
    """The machine in time; `offsets` is how much warmer each component is than its block. [K]

    Cases of the batch are as asked, then without the fans of each path in turn: radiators first,
    then fans on the case.
    """

    question: WarmUpQuestion
    built: Built
    given: HeatInput
    stores: Stores
    system: Lumped
    offsets: Array

    def case(self, number: int) -> Lumped:
        """Give one case, with a batch axis of one."""
        take = slice(number, number + 1)
        rate, coolant, outlets, first = self.system
        return Lumped(rate[take], coolant[take], outlets[take], first)

    def component_rows(self, size: int) -> Array:
        """Give how components are read off a state, (1, components, n)."""
        count = len(self.built.blocks)
        rows = np.zeros((1, count, size))
        number = np.arange(count)
        rows[0, number, self.system.first_block + number] = 1.0
        rows[0, :, -1] = self.offsets
        return rows


def run(
    question: WarmUpQuestion, built: Built, held: Contents, described: MachineState
) -> Running | None:
    """Set the machine in motion; nothing if its air does not settle without some fans."""
    setting = machine_build.setting(question.machine, built, np.ones(1), np.ones(1))
    state = physics.solve(built.machine, setting)
    fanned = sum(fans is not None for fans in built.fans)
    standing = np.eye(fanned, fanned + 1, 1, dtype=np.bool_)
    given, found = fan_loss.heat_with_standing_fans(
        built.machine, setting, state, standing, held.still
    )
    if not (state.converged.all() and found.all()):
        return None
    batch = fanned + 1
    stores = Stores(
        *(
            np.repeat(part, batch, axis=1)
            for part in heat_inventory.stores(question, built, held, state)
        )
    )
    resistance = np.array([_block_resistance(built, described)]).T.repeat(batch, axis=1)
    shares = np.array([_air_shares(built)]).T.repeat(batch, axis=1)
    joined = lumped.couplings(built.machine.heat, given, resistance, shares)
    system = lumped.assemble(built.machine.heat, given, stores, joined)
    whole = np.array([item.resistance_k_per_w for item in described.components])
    offsets = given.block_heat[:, 0] * (whole - 1.0 / joined.block[:, 0])
    return Running(question, built, given, stores, system, offsets)


def _block_resistance(built: Built, described: MachineState) -> list[float]:
    """Give the resistance of each block without its interface. [K/W]"""
    return [
        state.resistance_k_per_w - item.wire.interface_k_per_w
        for item, state in zip(built.blocks, described.components, strict=True)
    ]


def _air_shares(built: Built) -> list[float]:
    """Give the share of each radiator's resistance that is on its air side."""
    radiators = (item.wire.radiator for item in built.radiators)
    return [
        given.air_resistance_share if isinstance(given, RatedRadiator) else AIR_SHARE
        for given in radiators
    ]


def trace(running: Running, system: Lumped, start: Array, until: tuple[float, int]) -> Trace:
    """Follow components and the hottest coolant for a time, in so many steps."""
    duration, steps = until
    step = duration / steps
    states = transient.trace(system.rate, start, np.array([step]), steps)[0]
    air_c = running.question.machine.room.air_c
    coolant = (states @ system.coolant[0].T).max(axis=1) + air_c
    components = states @ running.component_rows(states.shape[1])[0].T + air_c
    return Trace(
        time_s=tuple(step * number for number in range(steps + 1)),
        coolant_c=tuple(coolant.tolist()),
        components=tuple(
            ComponentTrace(component=item.wire.name, component_c=tuple(column.tolist()))
            for item, column in zip(running.built.blocks, components.T, strict=True)
        ),
    )


class Start(NamedTuple):
    """The start from cold: when coolant and components settle, and when a reading counts."""

    coolant: Settling
    components: tuple[PartSettling, ...]
    reading: Reading
    time_constant_s: float
    trace: Trace


def start(running: Running) -> Start:
    """Follow the machine from room temperature, everything running from the first moment."""
    system = running.case(0)
    cold, rest = lumped.at_room(system), lumped.at_rest(system)
    hottest = int(transient.read(system.coolant, rest)[0].argmax())
    components = running.component_rows(rest.shape[1])
    rows = np.concatenate([components, system.coolant[:, hottest : hottest + 1]], axis=1)
    rises = transient.read(rows, rest)
    error = running.question.reading_error_fraction
    shares = np.array([0.95, 0.99, 1.0 - error])
    limits = (shares[:, None] * rises).reshape(1, -1)
    times, reached = transient.first_times(
        system.rate, cold, np.tile(rows, (1, shares.size, 1)), limits, np.array([DAY])
    )
    table = np.where(reached, times, np.inf).reshape(shares.size, -1)
    counts = float(times.reshape(shares.size, -1)[2, -1])
    slope = _slope(system, cold, rows[0, -1], counts)
    remaining = error * float(rises[0, -1])
    settlings = [
        (running.question.machine.room.air_c + float(rise), _time(to_95), _time(to_99))
        for rise, to_95, to_99 in zip(rises[0], table[0], table[1], strict=True)
    ]
    length = min(TRACE_SPARE * float(table[1].max()), DAY)
    return Start(
        coolant=Settling(
            equilibrium_c=settlings[-1][0], to_95_s=settlings[-1][1], to_99_s=settlings[-1][2]
        ),
        components=tuple(
            PartSettling(component=item.wire.name, equilibrium_c=warm, to_95_s=to_95, to_99_s=to_99)
            for item, (warm, to_95, to_99) in zip(running.built.blocks, settlings, strict=False)
        ),
        reading=Reading(
            run_s=_time(table[2].max()),
            slope_k_per_min=slope * MINUTE,
            remaining_error_k=remaining,
        ),
        time_constant_s=remaining / slope if slope > NO_SLOPE else 0.0,
        trace=trace(running, system, cold, (max(length, LEAST_START), STEPS)),
    )


def _slope(system: Lumped, cold: Array, row: Array, time: float) -> float:
    """Give how fast a reading rises at a time. [K/s]"""
    state = transient.transition(system.rate, np.array([time]))[0] @ cold[0]
    return float(row @ system.rate[0] @ state)


def _time(seconds: float) -> float | None:
    """Give a time, or nothing when it was not reached."""
    return float(seconds) if np.isfinite(seconds) else None


def heat_capacity(running: Running) -> float:
    """Give the heat capacity of the whole machine. [J/K]"""
    return out(sum(float(part[:, 0].sum()) for part in running.stores), 1.0)
