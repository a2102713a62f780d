"""Warming against closed forms, a separate integrator, and handbook heat capacities."""

import math

import numpy as np
import pytest
from ht.insulation import Cp_material
from scipy.integrate import solve_ivp

from loopmargin_service.physics import heat_store
from loopmargin_service.physics.lumped import (
    Lumped,
    Stores,
    assemble,
    at_rest,
    at_room,
    couplings,
    stopped,
)
from loopmargin_service.physics.network import Array
from loopmargin_service.physics.transient import first_times, read, transition
from tests.published.printed import Independent, Printed
from tests.unit.physics.bench_heat import Block, Branch, Pump, Radiator, balance

pytestmark = pytest.mark.law(
    "lumped.assemble",
    "lumped.at_rest",
    "lumped.stopped",
    "transient.transition",
    "transient.first_times",
)

HANDBOOK = "J. Carvill, Mechanical Engineer's Data Handbook, 1993, table 3.4.4"
MASSES = Independent("mass times the table of EN ISO 10456, as in ht 1.2.0 `Cp_material`", rel=0.03)
PLASTICS = "R. J. Crawford, Plastics Engineering, table 1.8"
RESPONSE = "step response of a first-order system, 1 - exp(-t/tau), any textbook on control"
# So small and so fast that it only passes heat on. [J/K]
NOTHING = 1e-3
# So large that the coolant has one temperature. [W/K]
STREAM = 1e9


def plant(
    coolant: float, conductance: float, pump_heat: float, block: tuple[float, float, float]
) -> tuple[Lumped, Stores]:
    """Give one junction with a block (capacity, conductance, heat) and a radiator of no weight."""
    capacity, to_coolant, heat = block
    row = [Branch(0, 0, STREAM, [Block(heat), Radiator(conductance)])]
    layout, given = balance(row, [Pump(STREAM, pump_heat, 0, 0)])
    joined = couplings(layout, given, np.array([[1.0 / to_coolant]]), np.array([[0.75]]))
    stores = Stores(np.array([[coolant]]), np.array([[capacity]]), np.array([[NOTHING]]))
    return assemble(layout, given, stores, joined), stores


def state_at(system: Lumped, start: Array, time: float) -> Array:
    """Give the state of the one case after a time."""
    return np.asarray(transition(system.rate, np.array([time]))[0] @ start[0])


@pytest.mark.law("heat_store.metal")
@pytest.mark.parametrize(
    ("row", "value"),
    [
        (Printed(f"{HANDBOOK}, copper", "384", "J/(kg K)"), heat_store.COPPER),
        (Printed(f"{HANDBOOK}, brass", "377", "J/(kg K)"), heat_store.BRASS),
        (Printed(f"{HANDBOOK}, aluminium", "897", "J/(kg K)"), heat_store.ALUMINIUM),
        (Printed(f"{PLASTICS}, acrylic and acetal", "1500", "J/(kg K)"), heat_store.PLASTIC),
        (
            Printed(
                "F. P. Incropera et al., Fundamentals of Heat and Mass Transfer, table A.1, copper",
                "385",
                "J/(kg K)",
                4.0,
                "from memory; handbooks differ by 1 %",
            ),
            heat_store.metal(1.0, 0.0, 0.0),
        ),
    ],
)
def test_heat_capacities(row: Printed, value: float) -> None:
    """Specific heat capacities are those printed."""
    row.check(value)


@pytest.mark.law("heat_store.metal")
@pytest.mark.parametrize(
    ("masses", "material"),
    [
        ((2.0, 0.0, 0.0), "Metals, copper"),
        ((0.0, 0.5, 0.0), "Metals, brass"),
        ((0.0, 0.0, 3.0), "Metals, aluminium alloys"),
    ],
)
def test_each_metal_weighs_by_its_own_capacity(
    masses: tuple[float, float, float], material: str
) -> None:
    """A mass of one metal stores its mass times the table's value, which alloys differ from."""
    MASSES.check(heat_store.metal(*masses), sum(masses) * Cp_material(material))


@pytest.mark.law("heat_store.metal")
def test_metals_add_up() -> None:
    """A block of copper, a brass fitting and an aluminium bracket store the sum, by hand."""
    row = Printed(f"{HANDBOOK}, 2 kg x 384 + 0.5 kg x 377 + 3 kg x 897 by hand", "3647.5", "J/K")

    row.check(heat_store.metal(2.0, 0.5, 3.0))


@pytest.mark.parametrize(
    ("constants", "printed"),
    [(1, "63.212"), (2, "86.466"), (3, "95.021"), (4, "98.168"), (5, "99.326")],
)
def test_share_after_time_constants(constants: int, printed: str) -> None:
    """One store has warmed by these shares after one to five time constants."""
    system, _ = plant(4500.0, 30.0, 300.0, (NOTHING, 12.0, 0.0))
    rise = state_at(system, at_room(system), constants * 150.0)[0]

    Printed(RESPONSE, printed, "%").check(100.0 * rise / 10.0, "transient.transition")


@pytest.mark.parametrize(
    ("share", "printed"), [(0.95, "2.995732"), (0.98, "3.912023"), (0.99, "4.605170")]
)
def test_time_constants_to_a_share(share: float, printed: str) -> None:
    """One store needs this many time constants."""
    system, _ = plant(4500.0, 30.0, 300.0, (NOTHING, 12.0, 0.0))
    times, _ = first_times(
        system.rate,
        at_room(system),
        np.array([[[1.0, 0.0, 0.0, 0.0]]]),
        np.array([[share * 10.0]]),
        np.array([3000.0]),
    )
    where = f"{RESPONSE}, -ln(1 - share)"
    # Lighter parts would make the system so stiff that rounding takes the place of their heat.
    why = "block and radiator hold 2e-3 J/K beside the 4500, which is 4e-7 of the time constant"
    Printed(where, printed, "1", 2e-6, why).check(times[0, 0] / 150.0, "transient.first_times")


def two_nodes() -> Lumped:
    """Give block 300 J/K on 12 W/K, coolant 4500 J/K on 30 W/K, 300 W into the block."""
    return plant(4500.0, 30.0, 0.0, (300.0, 12.0, 300.0))[0]


def test_time_constants_of_two_nodes() -> None:
    """Roots of l2 + (Gb/Cb + (Gb + G)/Cc) l + Gb G/(Cb Cc) = 0: 161.8271 s and 23.1729 s."""
    half = 0.5 * (12.0 / 300.0 + 42.0 / 4500.0)
    root = math.sqrt(half * half - 12.0 * 30.0 / (300.0 * 4500.0))
    expected = [1.0 / (half - root), 1.0 / (half + root)]
    assert expected == pytest.approx([161.8271, 23.1729], abs=5e-5)

    slow = np.sort(np.linalg.eigvals(two_nodes().rate[0][:3, :3]).real)[::-1][:2]

    Independent("roots of the quadratic equation", rel=1e-5).check(
        -1.0 / slow, expected, "lumped.assemble"
    )


@pytest.mark.parametrize(
    ("time", "block", "coolant"),
    [
        (60.0, 23.8812, 2.0699),
        (150.0, 29.5041, 5.3834),
        (300.0, 32.8378, 8.1719),
        (750.0, 34.8660, 9.8867),
    ],
)
def test_two_nodes_on_the_way(time: float, block: float, coolant: float) -> None:
    """Against scipy 1.17.1 `solve_ivp` on the two written-out balances, and its four decimals."""

    def change(_time: float, rise: Array) -> list[float]:
        passed = 12.0 * (rise[0] - rise[1])
        return [(300.0 - passed) / 300.0, (passed - 30.0 * rise[1]) / 4500.0]

    found = solve_ivp(change, (0.0, time), [0.0, 0.0], rtol=1e-10, atol=1e-10).y[:, -1]
    assert list(found) == pytest.approx([block, coolant], abs=5.1e-5)

    system = two_nodes()
    state = state_at(system, at_room(system), time)

    Independent("scipy 1.17.1 `solve_ivp`", abs=2e-4).check(
        [state[1], state[0]], found, "transient.transition"
    )


def test_two_nodes_end_and_95_percent() -> None:
    """Final rises 35 and 10 K; the coolant has 95 % after 509.80 s, not three slow constants."""
    system = two_nodes()
    coolant = np.array([[[1.0, 0.0, 0.0, 0.0]]])

    times, _ = first_times(
        system.rate, at_room(system), coolant, np.array([[9.5]]), np.array([3600.0])
    )

    Independent("P/G and P/G + P/Gb", rel=1e-6).check(
        at_rest(system)[0, :2], [10.0, 35.0], "lumped.at_rest"
    )
    Independent("two exponentials by hand", abs=0.01).check(
        times[0, 0], 509.80, "transient.first_times"
    )


def test_loss_of_fans() -> None:
    """4800 J/K, 300 W, 30 to 3 W/K: tau 1600 s, 3.375 K/min at first, +35 K after 520.68 s.

    Closed form: tau = C/G1, t = -tau ln((T1 - T)/(T1 - T0)) with T0 = P/G0 and T1 = P/G1.
    """
    expected = -1600.0 * math.log((100.0 - 35.0) / (100.0 - 10.0))
    assert expected == pytest.approx(520.68, abs=5e-3)
    start = at_rest(plant(4800.0, 30.0, 300.0, (NOTHING, 12.0, 0.0))[0])
    system, _ = plant(4800.0, 3.0, 300.0, (NOTHING, 12.0, 0.0))
    row = np.array([[[1.0, 0.0, 0.0, 0.0]]])

    times, _ = first_times(system.rate, start, row, np.array([[35.0]]), np.array([3600.0]))
    soon = state_at(system, start, 1.0)[0] - start[0, 0]

    closed = Independent("closed form of one store", rel=1e-3, abs=0.01)
    closed.check(times[0, 0], expected, "transient.first_times")
    closed.check(soon * 60.0, 3.3750, "transient.transition")


def test_loss_of_pump() -> None:
    """0.25 kg of copper and 20 mL of water, 179.31 J/K, 150 W: 0.8365 K/s, 55 to 100 in 53.79 s."""
    capacity = 179.31
    running, stores = plant(4500.0, 30.0, 0.0, (capacity, 12.0, 150.0))
    start = at_rest(running)
    still = stopped(running, start, stores, np.array([[150.0]]))
    row = np.array([[[0.0, 1.0, 0.0, 0.0]]])
    limits = read(row, start) + 45.0

    times, _ = first_times(still.rate, start, row, limits, np.array([600.0]))
    slope = state_at(still, start, 1.0)[1] - start[0, 1]

    Independent("P/C by hand", abs=5e-5).check(slope, 150.0 / capacity, "lumped.stopped")
    Independent("C dT/P by hand", abs=5e-3).check(
        times[0, 0], 45.0 * capacity / 150.0, "transient.first_times"
    )


@pytest.mark.parametrize(
    ("capacity", "conductance", "power"),
    [(3399.0, 20.0, 200.0), (5664.9, 40.0, 500.0), (2261.3, 15.0, 200.0)],
)
def test_loops_of_three_sizes(capacity: float, conductance: float, power: float) -> None:
    """Time constant, 95 % and 99 % and first slope of C dT/dt = P - G T, as its solution says."""
    system, _ = plant(capacity, conductance, power, (NOTHING, 12.0, 0.0))
    rows = np.tile([[[1.0, 0.0, 0.0, 0.0]]], (1, 3, 1))
    shares = np.array([[1.0 - math.exp(-1.0), 0.95, 0.99]])

    times, _ = first_times(
        system.rate, at_room(system), rows, shares * power / conductance, np.array([2000.0])
    )

    expected = capacity / conductance * np.array([1.0, math.log(20.0), math.log(100.0)])
    Independent("C/G, C/G ln 20 and C/G ln 100", rel=1e-5).check(
        times[0], expected, "transient.first_times"
    )
    Independent("P/C", rel=1e-5).check(system.rate[0, 0, -1], power / capacity, "lumped.assemble")
