"""Operating points of a loop of fifteen elements, three ways: ours, as a script, and compiled.

Invented data. The script solves each point by `scipy.optimize.brentq` on friction factors of
`fluids`; the compiled kernel does the iterations of ours, hand-fused, one point after the other.
"""

import math
from collections.abc import Sequence
from typing import NamedTuple

import fluids
import numba  # type: ignore[import-untyped]
import numpy as np
from scipy.optimize import brentq

from loopmargin_service.physics import coolant, network
from loopmargin_service.physics.constants import STANDARD_GRAVITY
from loopmargin_service.physics.coolant import Properties
from loopmargin_service.physics.loop import Liquid, Loop, LoopLaw, RunningPumps, loop_terms
from loopmargin_service.physics.network import NEAR, TOLERANCE, Array
from tests.unit.physics.bench_loop import (
    DENSITY,
    LITRE_PER_MINUTE,
    VISCOSITY,
    Branch,
    Part,
    Pump,
    Tube,
    loop,
    parabola,
)

HEAD, FREE = 4.0, 15.0 * LITRE_PER_MINUTE
CHUNK = 4000
START = 0.1
PARTS = [
    Part(1.5e7, 1.26e12),
    Part(2e6, 2e11),
    Part(1e6, 3e11),
    Part(0.0, 5e10),
    Part(0.0, 5e10),
    Part(5e6, 1e11),
    Part(0.0, 8e10),
]


class Points(NamedTuple):
    """Operating points: coolant temperature [K] and pump speed over that of its curve."""

    temperature: Array
    speed: Array


def points(count: int, seed: int = 1) -> Points:
    """Draw points of a loop in use."""
    random = np.random.default_rng(seed)
    return Points(random.uniform(288.0, 323.0, count), random.uniform(0.4, 1.2, count))


def tubes(bores: Sequence[float]) -> list[Tube]:
    """Give eight tubes of some bores in turn."""
    return [Tube(0.1 + 0.05 * n, bores[n % len(bores)], inertial=0.3 * n) for n in range(8)]


def elements(bores: Sequence[float]) -> list[Tube | Part]:
    """Give tubes and parts in turn."""
    first, *rest = tubes(bores)
    pairs = zip(PARTS, rest, strict=True)
    return [first, *(element for pair in pairs for element in pair)]


def layout(bores: Sequence[float]) -> Loop:
    """Lay the loop out."""
    return loop([Branch(1, 0, elements(bores))], [Pump(parabola(HEAD, 15.0))])


def ours(built: Loop, wanted: Points) -> Array:
    """Solve all points, chunk by chunk; give the mass flows. [kg/s]"""
    one = Points(np.array([300.0]), np.ones(1))
    full = _solved(built, one, np.full((2, 1), START))[:1, :1]
    starts = range(0, wanted.speed.size, CHUNK)
    parts = [Points(*(row[start : start + CHUNK] for row in wanted)) for start in starts]
    # Flow goes nearly with the speed, so that the flow at full speed tells where to begin.
    return np.concatenate(
        [_solved(built, part, np.tile(full * part.speed, (2, 1)))[0] for part in parts]
    )


def _solved(built: Loop, wanted: Points, start: Array) -> Array:
    """Solve a chunk."""
    here = coolant.properties("water", 0.0, wanted.temperature[None])
    pumps = RunningPumps(built.curves, here, wanted.speed[None])
    law = LoopLaw(loop_terms(built, Liquid(here, here, here)), pumps)
    return network.solve(built.topology, law, start).flow


def script(bores: Sequence[float], here: Properties, wanted: Points) -> Array:
    """Solve point after point as a script would; the properties are given. [kg/s]"""
    along = elements(bores)
    densities, viscosities = here.density[0].tolist(), here.viscosity[0].tolist()
    flows = []
    for density, viscosity, speed in zip(
        densities, viscosities, wanted.speed.tolist(), strict=True
    ):

        def excess(
            volume: float, rho: float = density, mu: float = viscosity, n: float = speed
        ) -> float:
            head = HEAD * (n * n - (volume / FREE) ** 2)
            return head - _lost(along, volume, rho, mu) / (rho * STANDARD_GRAVITY)

        flows.append(density * brentq(excess, 1e-9, FREE * speed, rtol=1e-10, xtol=1e-15))
    return np.array(flows)


def _lost(along: Sequence[Tube | Part], volume: float, density: float, viscosity: float) -> float:
    """Give the pressure that all elements lose. [Pa]"""
    total = 0.0
    for element in along:
        if isinstance(element, Part):
            total += element.linear * viscosity / VISCOSITY * volume
            total += element.quadratic * density / DENSITY * volume * volume
            continue
        velocity = volume / (math.pi * element.bore**2 / 4.0)
        reynolds = density * velocity * element.bore / viscosity
        factor = fluids.friction.Churchill_1977(reynolds, element.roughness / element.bore)
        loss = factor * element.length / element.bore + element.inertial
        total += loss * density * velocity * velocity / 2.0
    return total


def compiled(bores: Sequence[float], here: Properties, wanted: Points, full: float) -> Array:
    """Solve by the kernel; the properties are given, alike tubes are folded. [kg/s]"""
    sizes: dict[float, tuple[float, float, float]] = {}
    for tube in tubes(bores):
        length, inertial, _ = sizes.get(tube.bore, (0.0, 0.0, 0.0))
        sizes[tube.bore] = (
            length + tube.length / tube.bore,
            inertial + tube.inertial,
            tube.roughness / tube.bore,
        )
    shape = np.array([(bore, *rest) for bore, rest in sizes.items()])
    measured = np.array(PARTS, dtype=np.float64).sum(axis=0)
    start = full * wanted.speed
    return np.asarray(
        _kernel(shape, measured, here.density[0], here.viscosity[0], wanted.speed, start)
    )


@numba.njit(cache=False)  # type: ignore[untyped-decorator]
def _kernel(
    shape: Array, measured: Array, density: Array, viscosity: Array, speed: Array, start: Array
) -> Array:
    flows = np.empty_like(start)
    for case in range(start.size):
        rho, mu, n, flow = density[case], viscosity[case], speed[case], start[case]
        linear = measured[0] / VISCOSITY * mu / rho
        quadratic = measured[1] / DENSITY / rho
        for size in range(shape.shape[0]):
            area = 0.25 * math.pi * shape[size, 0] ** 2
            quadratic += shape[size, 2] / (2.0 * rho * area * area)
        drop, slope = _drop_and_slope(shape, linear, quadratic, rho, mu, flow)
        for _ in range(80):
            head = HEAD * (n * n - (flow / rho / FREE) ** 2)
            gain = rho * STANDARD_GRAVITY * head
            fall = 2.0 * STANDARD_GRAVITY * HEAD * flow / rho / FREE**2
            step = (gain - drop) / (slope + fall)
            near = abs(step) < NEAR * flow
            force = gain - fall * step
            flow += step
            drop, slope = _drop_and_slope(shape, linear, quadratic, rho, mu, flow)
            if near and abs(drop - force) < TOLERANCE * max(drop, slope * flow):
                break
        flows[case] = flow
    return flows


@numba.njit(cache=False)  # type: ignore[untyped-decorator]
def _drop_and_slope(
    shape: Array, linear: float, quadratic: float, rho: float, mu: float, flow: float
) -> tuple[float, float]:
    drop = flow * (linear + quadratic * flow)
    slope = linear + 2.0 * quadratic * flow
    for size in range(shape.shape[0]):
        bore = shape[size, 0]
        area = 0.25 * math.pi * bore * bore
        re = flow * bore / (area * mu)
        viscous = (7.0 / re) ** 0.9
        wall = viscous + 0.27 * shape[size, 3]
        log = math.log(wall)
        rough = (re * log) ** 2
        rough *= rough
        rough *= rough
        rough *= rough
        both = rough + (37530.0 / 2.457) ** 16
        power = re * re
        power *= power
        power *= power
        share = power * power * power / both
        turbulent = (8.0**8 * 2.457**16) ** -1.5 * share * math.sqrt(share)
        factor = 64.0 / re * (1.0 + turbulent) ** (1.0 / 12.0)
        steep = 3.0 + (1.8 * viscous / (wall * log) - 2.0) * rough / both
        exponent = steep * turbulent / (1.0 + turbulent) - 1.0
        per_flow = shape[size, 1] * factor * flow / (2.0 * rho * area * area)
        drop += per_flow * flow
        slope += per_flow * (2.0 + exponent)
    return drop, slope
