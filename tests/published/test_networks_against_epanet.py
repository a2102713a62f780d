"""Random networks of tubes against the EPANET 2.2 engine, as shipped with wntr 1.5.0."""

from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pytest
import wntr  # type: ignore[import-untyped]

from loopmargin_service.physics.constants import STANDARD_GRAVITY
from loopmargin_service.physics.curve import falling_curve
from loopmargin_service.physics.network import Array
from tests.published.printed import Independent
from tests.published.tube_network import Tube, volume_flows

# The roughness is given in metres from the start, which the warning cannot know.
pytestmark = [
    pytest.mark.filterwarnings("ignore:Changing the headloss formula"),
    pytest.mark.law("network.solve"),
]

EPANET = "EPANET 2.2 engine of wntr 1.5.0"

FOOT = 0.3048
# EPANET computes with 1.1e-5 ft2/s and 32.2 ft/s2, which cannot be set.
VISCOSITY = 1000.0 * 1.1e-5 * FOOT**2
EPANET_GRAVITY = 32.2 * FOOT
# Flow [m3/s] and head [m] in the design point: the pump of a computer, and one so strong that
# every tube is turbulent, where the two friction laws mean the same.
SMALL_PUMP = (7.5e-3 / 60.0, 3.0)
STRONG_PUMP = (40e-3 / 60.0, 100.0)

LOOP = [
    Tube(1, 2, 1.0, 0.010, loss=8.0),
    Tube(2, 3, 0.6, 0.010, loss=30.0),
    Tube(2, 3, 0.8, 0.008, loss=10.0),
    Tube(3, 0, 1.2, 0.010, loss=5.0),
]
BRIDGE = [
    Tube(1, 2, 0.5, 0.010, loss=2.0),
    Tube(1, 3, 1.5, 0.009, loss=12.0),
    Tube(2, 3, 0.3, 0.010, loss=3.0),
    Tube(2, 0, 1.4, 0.009, loss=14.0),
    Tube(3, 0, 0.5, 0.011, loss=2.0),
]


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


def epanet(tubes: Sequence[Tube], pump: tuple[float, float], folder: Path) -> Array:
    """Give the flow of each tube [m3/s] by EPANET, with a pump that lifts from node 0 to node 1."""
    network = wntr.network.WaterNetworkModel()
    network.options.hydraulic.headloss = "D-W"
    network.options.hydraulic.accuracy = 1e-8
    network.options.hydraulic.trials = 200
    network.options.time.duration = 0
    network.add_reservoir("0", base_head=10.0)
    for node in {end for tube in tubes for end in tube[:2]} - {0}:
        network.add_junction(str(node), elevation=0.0)
    network.add_curve("head", "HEAD", [pump])
    network.add_pump("pump", "0", "1", "HEAD", "head")
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
    return np.asarray(results.link["flowrate"].iloc[0][names], dtype=np.float64)


def ours(tubes: Sequence[Tube], pump: tuple[float, float]) -> Array:
    """Give the flow of each tube [m3/s] by the network under test, with the same pump."""
    shut_off = 4.0 / 3.0 * pump[1] * EPANET_GRAVITY / STANDARD_GRAVITY
    curve = falling_curve([0.0, 2.0 * pump[0]], [shut_off, 0.0])
    return volume_flows(tubes, 1000.0, VISCOSITY, curve)[0][:-1]


@pytest.mark.parametrize("tubes", [LOOP, BRIDGE, *map(random_tubes, range(8))])
def test_turbulent_tubes(tubes: list[Tube], tmp_path: Path) -> None:
    """Every tube of a network carries EPANET's flow within 0.1 %: the friction laws differ."""
    bores = np.array([tube.bore for tube in tubes])

    expected = epanet(tubes, STRONG_PUMP, tmp_path)

    # Between Re 2000 and 4000 the two friction laws are different by design.
    assert (4.0 * np.abs(expected) / (np.pi * bores * VISCOSITY / 1000.0) > 4000.0).all()
    Independent(f"{EPANET}, turbulent tubes", rel=1e-3).check(ours(tubes, STRONG_PUMP), expected)


@pytest.mark.parametrize("tubes", [LOOP, BRIDGE, *map(random_tubes, range(6))])
def test_loop_of_a_computer(tubes: list[Tube], tmp_path: Path) -> None:
    """At a few litres a minute every flow is EPANET's within 1 % of the largest.

    Some of the tubes lie between Re 1100 and 4000, where the friction laws differ by a third.
    """
    expected = epanet(tubes, SMALL_PUMP, tmp_path)

    like = Independent(f"{EPANET}, Re 1100 and more", abs=0.01 * max(expected))
    like.check(ours(tubes, SMALL_PUMP), expected)


@pytest.mark.parametrize("seed", range(5))
def test_fittings_alone(seed: int, tmp_path: Path) -> None:
    """Tubes so short that only fittings lose anything carry EPANET's flow within 0.01 %."""
    tubes = [tube._replace(length=1e-5) for tube in random_tubes(seed)]

    Independent(f"{EPANET}, fittings alone", rel=1e-4).check(
        ours(tubes, SMALL_PUMP), epanet(tubes, SMALL_PUMP, tmp_path)
    )
