"""A running machine without its pumps, or without the fans of one radiator or place of the case."""

from typing import Any

import msgspec
import numpy as np

from loopmargin_service.physics import lumped, transient
from loopmargin_service.physics.lumped import Lumped, Stores
from loopmargin_service.physics.network import Array
from loopmargin_service.questions.running import TRACE_SPARE, Running, trace
from loopmargin_wire.warm_up import LimitTime, Loss

# How long a machine without pumps or fans is followed, and in how many steps. [s]
FOLLOWED = 14_400.0
STEPS = 60
# A trace is at least this long, however soon a limit is reached. [s]
LEAST_TRACE = 10.0


def losses(running: Running) -> tuple[Loss, ...]:
    """Follow the loss of all pumps, then that of the fans of each radiator and on the case."""
    first = running.case(0)
    start = lumped.at_rest(first)
    stores = Stores(*(part[:, :1] for part in running.stores))
    still = lumped.stopped(first, start, stores, running.given.block_heat[:, :1])
    limits = _limits(running, still, start)
    pumps = Loss(
        lost="pumps",
        limits=limits,
        followed_s=FOLLOWED,
        trace=trace(running, still, start, (_until(limits), STEPS)),
    )
    radiators: list[dict[str, Any]] = [
        {
            "radiator": item.wire.name,
            "still_conductance_w_per_k": float(running.given.conductance[row, row + 1]),
        }
        for row, item in enumerate(running.built.radiators)
    ]
    case: list[dict[str, Any]] = [
        {"case_fans": given.name} for given in running.question.machine.case.fans
    ]
    return pumps, *(
        msgspec.structs.replace(_without_fans(running, start, number), **whose)
        for number, whose in enumerate([*radiators, *case])
    )


def _without_fans(running: Running, start: Array, number: int) -> Loss:
    """Follow the loss of the fans of one path of the air."""
    system = running.case(number + 1)
    limits = _limits(running, system, start)
    return Loss(
        lost="fans",
        limits=limits,
        followed_s=FOLLOWED,
        trace=trace(running, system, start, (_until(limits), STEPS)),
    )


def _until(limits: tuple[LimitTime, ...]) -> float:
    """Give the length of a trace: a little beyond the first limit. [s]"""
    soonest = limits[0].to_limit_s
    return FOLLOWED if soonest is None else min(max(TRACE_SPARE * soonest, LEAST_TRACE), FOLLOWED)


def _limits(running: Running, system: Lumped, start: Array) -> tuple[LimitTime, ...]:
    """Find when every limit is reached, the soonest first."""
    components = running.component_rows(system.rate.shape[1])
    count = components.shape[1]
    rows = np.concatenate([components, system.coolant], axis=1)
    machine, air_c = running.question.machine, running.question.machine.room.air_c
    limits = np.full((1, rows.shape[1]), machine.coolant_limit_c - air_c)
    limits[0, :count] = [item.wire.limit_c - air_c for item in running.built.blocks]
    found, reached = transient.first_times(system.rate, start, rows, limits, np.array([FOLLOWED]))
    times = np.where(reached[0], found[0], np.inf)
    entries = [(float(times[count:].min()), LimitTime(limit="coolant", to_limit_s=None))]
    entries += [
        (float(time), LimitTime(limit="component", component=item.wire.name, to_limit_s=None))
        for time, item in zip(times, running.built.blocks, strict=False)
    ]
    entries.sort(key=lambda entry: entry[0])
    return tuple(
        msgspec.structs.replace(entry, to_limit_s=time) if np.isfinite(time) else entry
        for time, entry in entries
    )
