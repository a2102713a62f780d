"""Networks of pipes with known answers: textbook, closed form, and Hardy Cross by hand."""

import math

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.optimize import brentq

from loopmargin_service.physics.network import Flows, Topology, solve
from tests.published.printed import Independent, Printed
from tests.published.tube_network import Tube, volume_flows

pytestmark = pytest.mark.law("network.solve")

HOUR = 3600.0
LITRE_PER_MINUTE = 1e-3 / 60.0
DENSITY, VISCOSITY, GRAVITY = 1000.0, 1.02e-3, 9.81
WHITE = "F. M. White, Fluid Mechanics, multiple-pipe systems, from memory"
CHART = "read off Moody's chart, from which Churchill's law departs by up to 3.1 %"
PIPES = ((100.0, 0.08, 0.24e-3), (150.0, 0.06, 0.12e-3), (80.0, 0.04, 0.20e-3))


def resistances(topology: Topology, linear: list[float], quadratic: list[float]) -> Flows:
    """Solve links of a Q + b Q^2, the last of which is a source of the pressure -a and slope b."""
    a, b = np.array(linear)[:-1, None], np.array(quadratic)[:-1, None]

    def law(flow: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        through, source = flow[:-1], flow[-1:]
        drop = a * through + b * through * np.abs(through)
        slope = np.maximum(a + 2.0 * b * np.abs(through), 1e-9)
        return (
            np.concatenate([drop, linear[-1] + quadratic[-1] * source]),
            np.concatenate([slope, np.full_like(source, quadratic[-1])]),
        )

    flows = solve(topology, law, np.linspace(-3.0, 40.0, len(linear))[:, None])
    assert flows.converged.all()
    return flows


def test_three_pipes_in_series() -> None:
    """150 kPa and 5 m of fall drive the printed flow through three pipes in a row."""
    row = Printed(WHITE, "10.22", "m3/h", 0.01 * 10.22, CHART)
    lift = 150e3 + DENSITY * GRAVITY * 5.0
    tubes = [
        Tube(place, (place + 1) % 3, *pipe, lift=lift if place == 0 else 0.0)
        for place, pipe in enumerate(PIPES)
    ]

    flow, _ = volume_flows(tubes, DENSITY, VISCOSITY)

    assert flow[0] == pytest.approx(flow[1], rel=1e-9)
    row.check(flow[2] * HOUR)


def test_three_pipes_in_parallel() -> None:
    """20.3 m of head between two nodes drive the printed flows through the same three pipes."""
    rows = [
        Printed(WHITE, printed, "m3/h", 0.01 * float(printed), CHART)
        for printed in ("62.5", "25.9", "11.4")
    ]
    total = Printed(WHITE, "99.8", "m3/h", 0.998, CHART)
    # A short and very wide pipe closes the circuit without a loss of its own.
    source = Tube(1, 0, 0.01, 1.0, lift=DENSITY * GRAVITY * 20.3)

    flow, _ = volume_flows([*(Tube(0, 1, *pipe) for pipe in PIPES), source], DENSITY, VISCOSITY)

    for row, through in zip(rows, flow[:3], strict=True):
        row.check(through * HOUR)
    total.check(flow[3] * HOUR)


@pytest.mark.parametrize("factor", [1e-3, 1.0, 1e3])
def test_wheatstone_bridge(factor: float) -> None:
    """In h = r Q^2 with r 1, 5, 1, 5, 1, thirds of 100 flow through the bridge, at any scale.

    Exact: 66.67^2 + 5 33.33^2 = 10000 along either side, 33.33^2 across.
    """
    bridge = Topology(4, (0, 0, 1, 1, 2, 3), (1, 2, 2, 3, 3, 0), 0)
    square = [factor * r for r in (1.0, 5.0, 1.0, 5.0, 1.0)]

    flows = resistances(bridge, [0.0] * 5 + [-1.0001e4 * factor], [*square, 0.01 * factor])

    thirds = np.array([2.0, 1.0, 1.0, 1.0, 2.0, 3.0]) * 100.0 / 3.0
    exact = Independent("bridge of resistances 1, 5, 1, 5, 1, exact", rel=1e-7)
    exact.check(flows.flow[:, 0], thirds)
    exact.check(flows.pressure[3, 0], -1e4 * factor)


def hardy_cross(resistance: NDArray[np.float64], flow: NDArray[np.float64]) -> NDArray[np.float64]:
    """Balance the two loops of the bridge in turn, as H. Cross did in 1936."""
    loops = np.array([[1.0, -1.0, 1.0, 0.0, 0.0], [0.0, 0.0, -1.0, 1.0, -1.0]])
    for _ in range(300):
        for sign in loops:
            drop = resistance * flow * np.abs(flow)
            flow = flow - sign * (sign @ drop) / (2.0 * np.abs(sign) @ (resistance * np.abs(flow)))
    return flow


@pytest.mark.parametrize("seed", range(6))
def test_bridge_equals_hardy_cross(seed: int) -> None:
    """Any bridge of five quadratic links has the flows that Hardy Cross' sweeps end in."""
    resistance = 10.0 ** np.random.default_rng(seed).uniform(-1.0, 1.0, 5)
    expected = hardy_cross(resistance, np.array([50.0, 50.0, 1.0, 49.0, 51.0]))
    side = resistance * expected * np.abs(expected)
    bridge = Topology(4, (0, 0, 1, 1, 2, 3), (1, 2, 2, 3, 3, 0), 0)

    flows = resistances(bridge, [0.0] * 5 + [-(side[0] + side[3]) - 1.0], [*resistance, 0.01])

    Independent("sweeps of H. Cross 1936", rel=1e-6, abs=1e-6).check(
        flows.flow[:, 0], [*expected, 100.0]
    )


def test_loop_with_two_branches() -> None:
    """A loop with two parallel branches has the flows of one equation in one unknown.

    In kPa and L/min: a source of 39.2 less 0.5 Q, two common links, two branches.
    """
    common, first, second, back = (0.10, 0.12), (0.5, 0.6), (0.3, 0.25), (0.05, 0.05)
    topology = Topology(4, (1, 2, 2, 3, 0), (2, 3, 3, 0, 1), 0)

    def through(branch: tuple[float, float], drop: float) -> float:
        a, b = branch
        return (math.sqrt(a * a + 4.0 * b * drop) - a) / (2.0 * b)

    def excess(drop: float) -> float:
        flow = through(first, drop) + through(second, drop)
        lost = (common[0] + back[0]) * flow + (common[1] + back[1]) * flow**2
        return 39.2 - 0.5 * flow - lost - drop

    drop = brentq(excess, 0.0, 39.2, xtol=1e-14)
    shares = [through(first, drop), through(second, drop)]

    links = [common, first, second, back, (-39.2, 0.5)]
    flows = resistances(topology, *(list(column) for column in zip(*links, strict=True)))

    total = sum(shares)
    Independent("scipy 1.17.1 `brentq` on two branches", rel=1e-9).check(
        flows.flow[:, 0], [total, *shares, total, total]
    )
    assert flows.pressure[2, 0] - flows.pressure[3, 0] == pytest.approx(drop, rel=1e-9)


def test_tubes_equal_an_independent_solver() -> None:
    """30 kPa over four tubes drive the flows that pandapipes 0.16.0 computed with Colebrook.

    Recorded in L/min and kPa; the library is not run here. 0.1 %: the friction laws differ.
    """
    tubes = [
        Tube(0, 1, 1.0, 0.010, loss=8.0, lift=30e3),
        Tube(1, 2, 0.6, 0.010, loss=30.0),
        Tube(1, 2, 0.8, 0.008, loss=10.0),
        Tube(2, 0, 1.2, 0.010, loss=5.0),
    ]

    flow, flows = volume_flows(tubes, 998.0, 1.0e-3)

    recorded = np.array([7.00325, 3.50593, 3.49732, 7.00325])
    other = Independent("pandapipes 0.16.0, recorded", rel=1e-3)
    other.check(flow / LITRE_PER_MINUTE, recorded)
    other.check(flows.pressure[1:, 0], [18.07921e3, 9.23532e3])
