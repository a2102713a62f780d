"""Curves of pumps and fans from their points, refused where they do not fall."""

from collections.abc import Sequence
from functools import lru_cache
from itertools import pairwise

import numpy as np

from loopmargin_service.physics.curve import Curve, falling_curve
from loopmargin_service.questions.conversion import L_PER_MIN, M3_PER_H
from loopmargin_service.questions.refusals import Fault, Refusal
from loopmargin_wire import part

Path = tuple[str | int, ...]

# Points of a curve are told apart from this share of its range on.
RESOLUTION = 1e-4
# In the units of the wire; no pump or fan is weaker.
LEAST_REACH = 1e-4


def pump_curve(pump: part.Pump, path: Path) -> Curve:
    """Draw the head [m] of a pump against volume flow [m3/s]."""
    points = [(point.flow_l_per_min, point.head_m) for point in pump.curve]
    _falling(points, (*path, "curve"), "flow_l_per_min", "head_m")
    return _curve(tuple((flow * L_PER_MIN, head) for flow, head in points))


def fan_curve(fan: part.Fan, path: Path) -> Curve:
    """Draw the pressure [Pa] of a fan against volume flow [m3/s]."""
    points = [(point.air_flow_m3_per_h, point.pressure_pa) for point in fan.curve]
    _falling(points, (*path, "curve"), "air_flow_m3_per_h", "pressure_pa")
    return _curve(tuple((flow * M3_PER_H, pressure) for flow, pressure in points))


@lru_cache(maxsize=256)
def _curve(points: tuple[tuple[float, float], ...]) -> Curve:
    flow, pressure = zip(*points, strict=True)
    return falling_curve(np.array(flow), np.array(pressure))


def _falling(points: Sequence[tuple[float, float]], path: Path, across: str, along: str) -> None:
    """Refuse a curve that does not fall strictly with rising flow, naming the first bad point.

    *points* are in the units of the wire. Points closer than the resolution of any test
    stand count as one: the slope between them would mean nothing.
    """
    most = max(flow for flow, _ in points)
    highest = max(value for _, value in points)
    for number, (before, here) in enumerate(pairwise(points), start=1):
        if here[0] - before[0] <= RESOLUTION * most:
            raise Refusal(
                Fault(
                    (*path, number, across),
                    f"{across} is {here[0]:g} after {before[0]:g} at the point before it; list the "
                    f"points by rising flow, each once, at least {RESOLUTION * most:.2g} apart",
                )
            )
        if before[1] - here[1] <= RESOLUTION * highest:
            raise Refusal(
                Fault(
                    (*path, number, along),
                    f"the curve rises or stays level: {along} is {here[1]:g} after "
                    f"{before[1]:g} at less flow; leave out points before the top of the "
                    "curve so that it falls strictly",
                )
            )
    ends = (len(points) - 1, across, most), (0, along, highest)
    for number, name, end in ends:
        if end < LEAST_REACH:
            raise Refusal(
                Fault(
                    (*path, number, name),
                    f"no point of the curve reaches more {name} than {end:.3g}; a curve must "
                    f"reach at least {LEAST_REACH:g} to be one",
                )
            )
