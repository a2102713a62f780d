"""Random networks of tubes and pumps, solved by the EPANET 2.2 engine of wntr 1.5.0."""

from collections.abc import Sequence
from pathlib import Path
from typing import NamedTuple

import numpy as np
import wntr  # type: ignore[import-untyped]

from loopmargin_service.physics.constants import STANDARD_GRAVITY
from loopmargin_service.physics.curve import Curve, falling_curve
from loopmargin_service.physics.network import Array
from tests.published.tube_network import Tube

EPANET = "EPANET 2.2 engine of wntr 1.5.0"

FOOT = 0.3048
# EPANET computes with 1.1e-5 ft2/s and 32.2 ft/s2, which cannot be set.
VISCOSITY = 1000.0 * 1.1e-5 * FOOT**2
EPANET_GRAVITY = 32.2 * FOOT


class Lift(NamedTuple):
    """A pump from one node to another, by the flow [m3/s] and head [m] of its design point."""

    tail: int
    head: int
    design_flow: float
    design_head: float

    @property
    def curve(self) -> Curve:
        """Give the curve in our metres of head, at standard gravity."""
        return _parabola(self.design_flow, self.design_head * EPANET_GRAVITY / STANDARD_GRAVITY)

    @property
    def water_curve(self) -> Curve:
        """Give the curve in EPANET's metres of head."""
        return _parabola(self.design_flow, self.design_head)


def _parabola(flow: float, head: float) -> Curve:
    """Give EPANET's parabola through a design point."""
    return falling_curve([0.0, 2.0 * flow], [4.0 / 3.0 * head, 0.0])


def random_tubes(seed: int) -> list[Tube]:
    """Grow a network from one tube: put a tube in series or beside one, again and again."""
    random = np.random.default_rng(seed)
    ends = [(1, 0)]
    nodes = 2
    for _ in range(9):
        place = int(random.integers(len(ends)))
        tail, head = ends[place]
        if random.random() < 0.5:
            ends[place : place + 1] = [(tail, nodes), (nodes, head)]
            nodes += 1
        else:
            ends.append((tail, head))
    return [
        Tube(
            *pair,
            length=random.uniform(0.3, 1.5),
            bore=random.uniform(0.008, 0.012),
            loss=random.uniform(1.0, 15.0),
        )
        for pair in ends
    ]


def random_lifts(
    tubes: list[Tube], seed: int, design_point: tuple[float, float]
) -> tuple[list[Tube], list[Lift]]:
    """Put a pump from node 0 to node 1, one beside it, and up to two in a row with some tube."""
    random = np.random.default_rng(seed)
    flow, head = design_point
    lifts = [Lift(0, 1, flow, head)]
    if random.random() < 0.5:
        lifts.append(Lift(0, 1, flow * random.uniform(0.9, 1.1), head * random.uniform(0.97, 1.03)))
    tubes, nodes = list(tubes), 1 + max(max(tube[:2]) for tube in tubes)
    for place in random.choice(len(tubes), size=int(random.integers(1, 3)), replace=False):
        tube = tubes[place]
        tubes[place] = tube._replace(tail=nodes)
        lifts.append(Lift(tube.tail, nodes, flow, head * random.uniform(0.1, 0.4)))
        nodes += 1
    return tubes, lifts


def epanet(
    tubes: Sequence[Tube], lifts: Sequence[Lift], folder: Path, headloss: str = "D-W"
) -> Array:
    """Give the flow of each tube and of each pump [m3/s] by EPANET.

    With the Hazen-Williams law, "H-W", the roughness of a tube is its coefficient.
    """
    network = wntr.network.WaterNetworkModel()
    network.options.hydraulic.headloss = headloss
    network.options.hydraulic.accuracy = 1e-8
    network.options.hydraulic.trials = 200
    network.options.time.duration = 0
    network.add_reservoir("0", base_head=10.0)
    for node in {end for link in (*tubes, *lifts) for end in link[:2]} - {0}:
        network.add_junction(str(node), elevation=0.0)
    for place, lift in enumerate(lifts):
        network.add_curve(f"head{place}", "HEAD", [(lift.design_flow, lift.design_head)])
        ends = str(lift.tail), str(lift.head)
        network.add_pump(f"pump{place}", *ends, "HEAD", f"head{place}")
    for place, tube in enumerate(tubes):
        network.add_pipe(
            f"tube{place}",
            str(tube.tail),
            str(tube.head),
            length=tube.length,
            diameter=tube.bore,
            roughness=tube.roughness,
            minor_loss=tube.loss,
        )
    results = wntr.sim.EpanetSimulator(network).run_sim(file_prefix=str(folder / "network"))
    names = [f"tube{place}" for place in range(len(tubes))]
    names += [f"pump{place}" for place in range(len(lifts))]
    return np.asarray(results.link["flowrate"].iloc[0][names], dtype=np.float64)
