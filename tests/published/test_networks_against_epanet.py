"""Random networks of tubes against the EPANET 2.2 engine, as shipped with wntr 1.5.0."""

from collections.abc import Sequence
from pathlib import Path
from typing import NamedTuple

import numpy as np
import pytest

from loopmargin_service.physics.curve import Curve, value_and_slope
from loopmargin_service.physics.network import Array, Topology, solve
from loopmargin_service.physics.rows import Index
from tests.published.epanet import (
    EPANET,
    EPANET_GRAVITY,
    FOOT,
    VISCOSITY,
    Lift,
    epanet,
    random_lifts,
    random_tubes,
)
from tests.published.printed import Independent
from tests.published.tube_network import Tube, volume_flows

# The roughness is given in metres from the start, which the warning cannot know.
pytestmark = [
    pytest.mark.filterwarnings("ignore:Changing the headloss formula"),
    pytest.mark.law("network.solve"),
]

# Flow [m3/s] and head [m] in the design point: the pump of a computer, and one so strong that
# every tube is turbulent, where the two friction laws mean the same.
SMALL_PUMP = (7.5e-3 / 60.0, 3.0)
STRONG_PUMP = (40e-3 / 60.0, 100.0)
WEAK_PUMP = (0.5e-3 / 60.0, 0.01)
SMALLEST_SLOPE = 1e-6
# The first twenty seeds that leave no tube of the network below Re 8000.
TURBULENT = (2, 3, 5, 7, 10, 11, 12, 13, 15, 16, 17, 18, 20, 21, 22, 23, 24, 25, 27, 28)

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


def ours(tubes: Sequence[Tube], lifts: Sequence[Lift]) -> Array:
    """Give the flow of each tube and of each pump [m3/s] by the network under test."""
    pumps = [(lift.tail, lift.head, lift.curve) for lift in lifts]
    return volume_flows(tubes, 1000.0, VISCOSITY, pumps)[0]


def reynolds(tubes: Sequence[Tube], flows: Array) -> Array:
    """Give the Reynolds number in every tube."""
    bores = np.array([tube.bore for tube in tubes])
    return np.asarray(4000.0 * np.abs(flows[: len(tubes)]) / (np.pi * bores * VISCOSITY))


@pytest.mark.parametrize("tubes", [LOOP, BRIDGE, *map(random_tubes, range(8))])
def test_turbulent_tubes(tubes: list[Tube], tmp_path: Path) -> None:
    """Every tube of a network carries EPANET's flow within 0.1 %: the friction laws differ."""
    lifts = [Lift(0, 1, *STRONG_PUMP)]
    expected = epanet(tubes, lifts, tmp_path)

    # Between Re 2000 and 4000 the two friction laws are different by design.
    assert (reynolds(tubes, expected) > 4000.0).all()
    Independent(f"{EPANET}, turbulent tubes", rel=1e-3).check(ours(tubes, lifts), expected)


@pytest.mark.parametrize("seed", TURBULENT)
def test_turbulent_tubes_and_several_pumps(seed: int, tmp_path: Path) -> None:
    """With pumps beside each other and in a row with tubes, flows are EPANET's within 0.1 %."""
    tubes, lifts = random_lifts(random_tubes(100 + seed), seed, STRONG_PUMP)
    expected = epanet(tubes, lifts, tmp_path)

    assert (reynolds(tubes, expected) > 8000.0).all()
    Independent(f"{EPANET}, several pumps", rel=1e-3).check(ours(tubes, lifts), expected)


@pytest.mark.parametrize("seed", range(12))
def test_laminar_tubes_and_several_pumps(seed: int, tmp_path: Path) -> None:
    """Where all flow is laminar both laws are 64/Re, and flows are EPANET's within 0.1 %."""
    tubes, lifts = random_lifts(random_tubes(200 + seed), seed, WEAK_PUMP)
    expected = epanet(tubes, lifts, tmp_path)

    assert (reynolds(tubes, expected) < 1600.0).all()
    Independent(f"{EPANET}, laminar", rel=1e-3).check(ours(tubes, lifts), expected)


@pytest.mark.parametrize("tubes", [LOOP, BRIDGE, *map(random_tubes, range(6))])
def test_loop_of_a_computer(tubes: list[Tube], tmp_path: Path) -> None:
    """At a few litres a minute every flow is EPANET's within 1 % of the largest.

    Some of the tubes lie between Re 1100 and 4000, where the friction laws differ by a third.
    """
    lifts = [Lift(0, 1, *SMALL_PUMP)]
    expected = epanet(tubes, lifts, tmp_path)

    like = Independent(f"{EPANET}, Re 1100 and more", abs=0.01 * max(expected))
    like.check(ours(tubes, lifts), expected)


@pytest.mark.parametrize("seed", range(5))
def test_fittings_alone(seed: int, tmp_path: Path) -> None:
    """Tubes so short that only fittings lose anything carry EPANET's flow within 0.01 %."""
    tubes = [tube._replace(length=1e-5) for tube in random_tubes(seed)]

    lifts = [Lift(0, 1, *SMALL_PUMP)]

    Independent(f"{EPANET}, fittings alone", rel=1e-4).check(
        ours(tubes, lifts), epanet(tubes, lifts, tmp_path)
    )


class HazenWilliams(NamedTuple):
    """Tubes that lose r Q^1.852 + m Q^2 [m] and pumps on their curves; all (links, 1) or one."""

    resistance: Array
    minor: Array
    curves: tuple[Curve, ...]

    def __call__(self, flow: Array) -> tuple[Array, Array]:
        """Give heads lost [m] and slopes [s/m2] at volume flows [m3/s]."""
        tubes = len(self.resistance)
        size = np.abs(flow[:tubes])
        friction = self.resistance * size**0.852
        drops = [flow[:tubes] * (friction + self.minor * size)]
        slopes = [1.852 * friction + 2.0 * self.minor * size + SMALLEST_SLOPE]
        for curve, through in zip(self.curves, flow[tubes:], strict=True):
            head, slope = value_and_slope(curve, through, check_valve=True)
            drops.append(-head[None])
            slopes.append(-slope[None])
        return np.concatenate(drops), np.concatenate(slopes)

    def cases(self, _: Index) -> "HazenWilliams":
        """Give the law of some cases, which are like all others."""
        return self


@pytest.mark.parametrize("seed", range(20))
def test_one_law_in_both(seed: int, tmp_path: Path) -> None:
    """With the law of Hazen and Williams given to both, flows are EPANET's within 0.01 %.

    Its factor and exponents are EPANET's own (EPANET 2.2 User Manual, chapter 12, table 12.1).
    Near zero flow EPANET makes every law a line (from memory), which is 5e-9 m3/s here.
    """
    plain = [tube._replace(roughness=140.0) for tube in random_tubes(300 + seed)]
    tubes, lifts = random_lifts(plain, seed, SMALL_PUMP)
    links = [*tubes, *lifts]
    tail, head = zip(*(link[:2] for link in links), strict=True)
    bore = np.array([[tube.bore] for tube in tubes])
    length, loss = (np.array([[tube[n]] for tube in tubes]) for n in (2, 5))
    feet = 4.727 * 140.0**-1.852 * (bore / FOOT) ** -4.871 * length / FOOT
    law = HazenWilliams(
        feet * FOOT * FOOT ** (-3.0 * 1.852),
        8.0 * loss / (np.pi**2 * EPANET_GRAVITY * bore**4),
        tuple(lift.water_curve for lift in lifts),
    )
    topology = Topology(1 + max(*tail, *head), tail, head, 0, check_valves=len(lifts))

    flows = solve(topology, law, np.full((len(links), 1), SMALL_PUMP[0]))

    assert flows.converged.all()
    expected = epanet(tubes, lifts, tmp_path, "H-W")
    Independent(f"{EPANET}, one law in both", rel=1e-4, abs=5e-9).check(flows.flow[:, 0], expected)
