"""Heat in loops against formulas, independent libraries and the EPANET engine of wntr 1.5.0."""

from collections.abc import Sequence
from pathlib import Path

import ht
import numpy as np
import psychrolib  # type: ignore[import-untyped]
import pytest
import wntr  # type: ignore[import-untyped]
from CoolProp.CoolProp import PropsSI

from loopmargin_service.physics import air
from tests.published.printed import Independent
from tests.published.test_networks_against_epanet import BRIDGE, SMALL_PUMP, random_tubes
from tests.published.tube_network import Tube
from tests.unit.physics.bench_heat import Block, Branch, Case, Pump, Radiator, rises

# The roughness is given in metres from the start, which the warning cannot know.
pytestmark = [
    pytest.mark.filterwarnings("ignore:Changing the headloss formula"),
    pytest.mark.law("heat_balance.settle"),
]

EXCHANGERS = Independent("exchangers of ht 1.2.0, joined by hand", rel=1e-7)
ENTHALPY = Independent("psychrolib 2.5.0 `GetDryAirEnthalpy`", rel=2e-3)
PARCELS = Independent("parcels sent round a thousand times", rel=1e-7)

# Capacity rate [W/K] for a flow [m3/s], so that 1 W is 1 mg/s and 1 K is 1 kg/m3 in EPANET.
CAPACITY_PER_FLOW = 1e6
GRAM = 1e-3


def crossflow(ua: float, *rates: float) -> float:
    """Give the conductance of a crossflow exchanger between its inlets, by ht 1.2.0."""
    ntu, ratio = ua / min(rates), min(rates) / max(rates)
    effectiveness = ht.effectiveness_from_NTU(ntu, ratio, "crossflow")  # type: ignore[no-untyped-call]
    return float(effectiveness * min(rates))


def test_one_radiator_sheds_the_heat_of_one_block() -> None:
    """2 L/min of water (CoolProp 8.0.0) and a radiator of UA 90 W/K (ht 1.2.0) carry 300 W.

    The coolant enters the radiator at heat over conductance above the air, and leaves it
    colder by heat over capacity rate.
    """
    capacity = 2.0 / 60e3 * PropsSI("D", "T", 303.15, "P", 101325.0, "Water")
    capacity *= PropsSI("C", "T", 303.15, "P", 101325.0, "Water")
    conductance = crossflow(90.0, 46.7, capacity)

    (along,), _ = rises(
        [Branch(1, 0, capacity, [Block(300.0), Radiator(conductance)])], Pump(capacity)
    )

    hot = 300.0 / conductance
    EXCHANGERS.check(along, [hot - 300.0 / capacity, hot, hot - 300.0 / capacity])


def test_two_radiators_in_series() -> None:
    """The second gets what the first left, each with the effectiveness of ht 1.2.0."""
    capacity = 70.0
    first, second = crossflow(60.0, 40.0, capacity), crossflow(90.0, 55.0, capacity)
    hot = 1.0
    left = hot * (1.0 - first / capacity) * (1.0 - second / capacity)

    row = (Block(250.0), Radiator(first), Radiator(second))
    (along,), _ = rises([Branch(1, 0, capacity, row)], Pump(capacity))

    EXCHANGERS.check(along[3] / along[1], left)
    EXCHANGERS.check(along[1], 250.0 / (capacity * (1.0 - left)))


def test_two_exchangers_coupled_by_a_loop() -> None:
    """Warm case air heats one radiator, the room cools another: 1/G = 1/G1 + 1/G2 - 1/C.

    The liquid-coupled exchanger of W. M. Kays and A. L. London, Compact Heat Exchangers
    (from memory), here by conductances between inlets.
    """
    capacity = 120.0
    warm, cold = crossflow(80.0, 30.0, capacity), crossflow(100.0, 50.0, capacity)
    coupled = 1.0 / (1.0 / warm + 1.0 / cold - 1.0 / capacity)

    row = (Radiator(warm, from_case=True), Radiator(cold))
    (along,), case = rises([Branch(1, 0, capacity, row)], Pump(capacity), Case(400.0, air=30.0))

    EXCHANGERS.check(case, 400.0 / 30.0)
    EXCHANGERS.check(capacity * (along[1] - along[0]), coupled * 400.0 / 30.0)


def test_case_air_takes_up_heat_like_dry_air() -> None:
    """120 W into 0.02 kg/s of air raise its enthalpy by 6 kJ/kg, by psychrolib 2.5.0 in 0.2 %."""
    psychrolib.SetUnitSystem(psychrolib.SI)
    flow = 0.02
    branches = [Branch(1, 0, 100.0, [Block(10.0), Radiator(20.0)])]

    _, rise = rises(branches, Pump(100.0), Case(120.0, air=flow * air.HEAT_CAPACITY))

    taken = psychrolib.GetDryAirEnthalpy(25.0 + rise) - psychrolib.GetDryAirEnthalpy(25.0)
    ENTHALPY.check(flow * taken, 120.0)


def test_parcels_of_coolant_sent_round() -> None:
    """A thousand rounds of parcels through two branches end where the balance stands."""
    shares, heats, conductance, capacity = (0.3, 0.7), (80.0, 150.0), 40.0, 100.0
    entering = 0.0
    for _ in range(1000):
        warmed = [
            entering + heat / (share * capacity) for share, heat in zip(shares, heats, strict=True)
        ]
        mixed = sum(share * value for share, value in zip(shares, warmed, strict=True))
        entering = mixed * (1.0 - conductance / capacity)

    branches = [
        *(Branch(1, 2, s * capacity, [Block(heat)]) for s, heat in zip(shares, heats, strict=True)),
        Branch(2, 0, capacity, [Radiator(conductance)]),
    ]
    profiles, _ = rises(branches, Pump(capacity))

    PARCELS.check([row[0] for row in profiles], [entering, entering, mixed])
    PARCELS.check([row[1] for row in profiles[:2]], warmed)


def concentrations(
    tubes: Sequence[Tube], released: dict[int, float], folder: Path
) -> tuple[list[float], dict[int, float]]:
    """Give the flows [m3/s] and settled concentrations [kg/m3] of EPANET, for kg/s at nodes.

    Node 0 is a reservoir of pure water, from which a pump lifts into node 1.
    """
    network = wntr.network.WaterNetworkModel()
    network.options.hydraulic.headloss = "D-W"
    network.options.hydraulic.accuracy = 1e-8
    network.options.quality.parameter = "CHEMICAL"
    network.options.time.duration = network.options.time.report_timestep = 1800
    network.options.time.quality_timestep = 1
    network.add_reservoir("0", base_head=10.0)
    network.add_curve("head", "HEAD", [SMALL_PUMP])
    for node, mass in released.items():
        network.add_junction(str(node))
        network.add_source(f"source{node}", str(node), "MASS", mass)
    network.add_pump("pump", "0", "1", "HEAD", "head")
    for place, tube in enumerate(tubes):
        ends = str(tube.tail), str(tube.head)
        network.add_pipe(f"tube{place}", *ends, *tube[2:6])
    results = wntr.sim.EpanetSimulator(network).run_sim(file_prefix=str(folder / "network"))
    flow, quality = (
        table.iloc[-1] for table in (results.link["flowrate"], results.node["quality"])
    )
    flows = [float(flow[f"tube{place}"]) for place in range(len(tubes))]
    return flows, {node: float(quality[str(node)]) for node in released}


def plant(
    tubes: Sequence[Tube], flows: Sequence[float], released: dict[int, float]
) -> tuple[list[Branch], Pump]:
    """Give the same network for heat: a block behind each node, a perfect radiator for node 0.

    Node k mixes, node k + n is behind its block; the radiator ends in the pump's own node.
    """
    count = 1 + len(released)
    signed = [CAPACITY_PER_FLOW * flow for flow in flows]
    passing = dict.fromkeys(range(count), 0.0)
    for tube, capacity in zip(tubes, signed, strict=True):
        passing[tube.head if capacity >= 0.0 else tube.tail] += abs(capacity)
    # The pump's own flow, by conservation at the reservoir.
    pumped = passing[0]
    passing[1] += pumped
    blocks = [
        Branch(node, node + count, passing[node], [Block(CAPACITY_PER_FLOW * mass)])
        for node, mass in released.items()
    ]
    pipes = [
        Branch(*_between(tube, capacity, count), capacity)
        for tube, capacity in zip(tubes, signed, strict=True)
    ]
    cooler = Branch(0, count, pumped, [Radiator(pumped)])
    return [*blocks, *pipes, cooler], Pump(pumped, tail=count, head=1)


def _between(tube: Tube, capacity: float, count: int) -> tuple[int, int]:
    """Let a tube begin behind the block of the node that feeds it, and end in a mixing node."""
    if capacity >= 0.0:
        return tube.tail + count, tube.head
    return tube.tail, tube.head + count


@pytest.mark.parametrize("seed", range(6))
def test_heat_mixes_as_a_tracer_does(seed: int, tmp_path: Path) -> None:
    """In random networks, tubes turned round at random, each node warms as EPANET's tracer says."""
    random = np.random.default_rng(seed)
    tubes = BRIDGE if seed == 0 else random_tubes(seed)
    turned = [tube._replace(tail=tube.head, head=tube.tail) for tube in tubes]
    tubes = [pair[random.integers(2)] for pair in zip(tubes, turned, strict=True)]
    nodes = sorted({end for tube in tubes for end in tube[:2]} - {0})
    released = {node: float(random.uniform(0.1, 1.0) * GRAM) for node in nodes}

    flows, expected = concentrations(tubes, released, tmp_path)
    branches, pump = plant(tubes, flows, released)
    profiles, _ = rises(branches, pump)

    behind = {node: profiles[row][1] for row, node in enumerate(released)}
    scale = max(expected.values())
    assert min(flows) < 0.0
    tracer = Independent(
        "tracer in the EPANET 2.2 engine of wntr 1.5.0", rel=1e-4, abs=1e-4 * scale
    )
    tracer.check(list(behind.values()), [expected[node] for node in behind])
