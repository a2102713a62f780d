"""Networks: exact small ones, the single step, and what does not settle."""

import numpy as np
import pytest

from loopmargin_service.physics import network
from loopmargin_service.physics.network import Array, Flows, Topology
from tests.unit.physics.plain_links import Links, Network, alike, links

BRIDGE = Topology(4, (0, 0, 1, 1, 2, 3), (1, 2, 2, 3, 3, 0), 0)


def test_one_link_that_closes_on_itself() -> None:
    """With the reference as the only node, a source of 12 drives 3 through 1 w + 1 w^2."""
    circuit = Network(Topology(1, (0,), (0,), 0), links([1.0], [1.0], [12.0]))

    flows = circuit.solved()

    assert flows.flow[0, 0] == pytest.approx(3.0, rel=1e-12)
    assert flows.pressure.tolist() == [[0.0]]


def test_two_links_beside_each_other() -> None:
    """A source of 20 less 2 w drives 2 and 4 through 4 w and 2 w, at a pressure of 8."""
    topology = Topology(2, (0, 1, 1), (1, 0, 0), 0)

    flows = Network(topology, links([2.0, 4.0, 2.0], [0.0] * 3, [20.0, 0.0, 0.0])).solved()

    np.testing.assert_allclose(flows.flow[:, 0], [6.0, 2.0, 4.0], rtol=1e-12)
    np.testing.assert_allclose(flows.pressure[:, 0], [0.0, 8.0], rtol=1e-12)


def test_links_in_a_row_of_squares() -> None:
    """A source of 80 less 1 w drives 5 through 1 w^2 and 2 w^2, with 50 left between them."""
    topology = Topology(3, (0, 1, 2), (1, 2, 0), 0)

    flows = Network(topology, links([1.0, 0.0, 0.0], [0.0, 1.0, 2.0], [80.0, 0.0, 0.0])).solved(7.0)

    np.testing.assert_allclose(flows.flow[:, 0], 5.0, rtol=1e-9)
    np.testing.assert_allclose(flows.pressure[:, 0], [0.0, 75.0, 50.0], rtol=1e-9)


def test_balanced_bridge_has_a_still_link() -> None:
    """In 1 : 2 against 3 : 6 nothing crosses the bridge."""
    resistance = [0.0, 1.0, 3.0, 5.0, 2.0, 6.0]
    topology = Topology(4, (3, 0, 0, 1, 1, 2), (0, 1, 2, 2, 3, 3), 3)

    flows = Network(topology, links([0.01, *[0.0] * 5], resistance, [40.0, *[0.0] * 5])).solved()

    assert flows.flow[3, 0] == pytest.approx(0.0, abs=1e-4)
    np.testing.assert_allclose(flows.flow[1] / flows.flow[2], np.sqrt(3.0), rtol=1e-6)


@pytest.mark.parametrize("count", [2, 3, 7])
def test_equal_branches_share_equally(count: int) -> None:
    """Of n equal branches each carries one n-th of the flow."""
    topology = Topology(2, (0, *[1] * count), (1, *[0] * count), 0)
    branches = links([0.5, *[1.0] * count], [0.0, *[3.0] * count], [30.0, *[0.0] * count])

    flow = Network(topology, branches).solved(np.linspace(-5.0, 5.0, count + 1)[:, None]).flow

    np.testing.assert_allclose(flow[1:, 0], flow[0, 0] / count, rtol=1e-12)


def test_an_overshoot_is_cut_back() -> None:
    """A drop that flattens out, on which full steps run away, is solved from either side."""

    @alike
    def law(flow: Array) -> tuple[Array, Array]:
        off = 50.0 * (flow - 1.0)
        return np.arcsinh(off), 50.0 / np.sqrt(1.0 + off * off)

    circuit = Topology(1, (0,), (0,), 0)
    start = np.array([[0.8, 1.2]])
    full = start
    for _ in range(6):
        full = full + network.newton_step(circuit, full, *law(full))[2]
    flows = network.solve(circuit, law, start)

    assert (np.abs(full - 1.0) > 1e3).all()
    assert flows.converged.all()
    np.testing.assert_allclose(flows.flow, 1.0, rtol=1e-9)


def test_what_does_not_settle_is_flagged() -> None:
    """A drop that jumps over zero has no solution: its case says so, its neighbour is solved."""

    @alike
    def law(flow: Array) -> tuple[Array, Array]:
        jump = np.where(flow < 1.0, -1.0, 1.0)
        return np.where(flow < 2.0, jump, flow - 3.0), np.ones_like(flow)

    flows = network.solve(Topology(1, (0,), (0,), 0), law, np.array([[0.5, 2.5]]))

    assert flows.converged.tolist() == [False, True]
    assert flows.iterations[0] == network.ITERATION_LIMIT > flows.iterations[1]
    assert flows.residual[0] > network.TOLERANCE
    assert flows.flow[0, 1] == pytest.approx(3.0)


def test_one_step_solves_linear_links() -> None:
    """After one step from anywhere, linear links are at their solution."""
    topology = Topology(2, (0, 1, 1), (1, 0, 0), 0)
    given_links = links([2.0, 4.0, 2.0], [0.0] * 3, [20.0, 0.0, 0.0])
    flow = np.array([[9.0], [-2.0], [5.0]])

    pressure, force, step = network.newton_step(topology, flow, *given_links(flow))

    np.testing.assert_allclose((flow + step)[:, 0], [6.0, 2.0, 4.0], rtol=1e-12)
    np.testing.assert_allclose(pressure, [[0.0], [8.0]])
    np.testing.assert_allclose(force, [[8.0], [-8.0], [-8.0]])


def test_iterations_are_counted() -> None:
    """Linear links take one iteration to be solved, and at most two more to be seen as solved."""
    topology = Topology(2, (0, 1, 1), (1, 0, 0), 0)
    circuit = Network(topology, links([2.0, 4.0, 2.0], [0.0] * 3, [20.0, 0.0, 0.0]))

    assert 1 <= circuit.solved(50.0).iterations[0] <= 3


def test_one_case_is_taken_out_of_many() -> None:
    """A case of a batch keeps its batch axis, and everything that belongs to it."""
    flow = np.array([[1.0, 2.0], [3.0, 4.0]])
    flows = network.Flows(
        flow, 10.0 * flow, np.array([0.1, 0.2]), np.array([True, False]), np.array([7, 9])
    )

    second = flows.case(1)

    assert second.flow.tolist() == [[2.0], [4.0]]
    assert second.pressure.tolist() == [[20.0], [40.0]]
    assert (second.residual.tolist(), second.converged.tolist()) == ([0.2], [False])
    assert second.iterations.tolist() == [9]


def test_change_is_relative_to_the_largest_flow() -> None:
    """The largest step counts against the largest flow, case by case; no flow is no division."""
    step = np.array([[0.1, 0.0], [-0.4, 0.0]])

    change = network.relative_change(step, np.array([[8.0, 0.0], [-2.0, 0.0]]))

    np.testing.assert_allclose(change, [0.05, 0.0], rtol=1e-9)
    still = network.relative_change(np.array([[0.0], [-0.5]]), np.zeros((2, 1)))
    np.testing.assert_allclose(still, [5e11], rtol=1e-9)


@pytest.mark.parametrize("limit", [1, 2, 4, 80])
def test_the_unit_of_pressure_does_not_matter(limit: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """A millionth of all drops leaves flows, residual and iterations as they are."""
    monkeypatch.setattr(network, "ITERATION_LIMIT", limit)
    topology = Topology(3, (0, 1, 1, 2), (1, 2, 2, 0), 0)
    linear, quadratic, source = (
        np.array([[1.0], [0.5], [0.1], [0.2]]),
        np.array([[0.3], [2.0], [5.0], [1.0]]),
        np.array([[40.0], [0.0], [0.0], [0.0]]),
    )
    whole, small = (
        network.solve(
            topology, Links(unit * linear, unit * quadratic, unit * source), np.full((4, 1), 9.0)
        )
        for unit in (1.0, 2.0**-20)
    )

    np.testing.assert_allclose(small.flow, whole.flow, rtol=1e-9)
    np.testing.assert_allclose(small.pressure, whole.pressure * 2.0**-20, rtol=1e-9, atol=1e-15)
    np.testing.assert_allclose(small.residual, whole.residual, rtol=1e-5, atol=1e-11)
    assert small.iterations == whole.iterations
    assert small.converged == whole.converged


@pytest.mark.parametrize(
    ("ends", "expected"),
    [
        ([(0, 1), (1, 2), (2, 0)], []),
        ([(0, 1), (1, 0)], []),
        ([(0, 0)], []),
        ([(0, 1), (1, 0), (1, 2)], [2]),
        ([(0, 1), (1, 0), (1, 2), (2, 3)], [2, 3]),
        ([(0, 1), (1, 0), (2, 3), (3, 2)], []),
        ([(0, 1), (1, 0), (1, 2), (2, 3), (3, 2)], [2]),
        ([(0, 1)], [0]),
    ],
)
def test_links_without_return(ends: list[tuple[int, int]], expected: list[int]) -> None:
    """Dead ends and bridges between two circuits are named; circuits are not."""
    tail, head = zip(*ends, strict=True)

    assert network.links_without_return(Topology(4, tail, head, 0)) == expected


def behind_a_valve(start: list[float], limit: int, monkeypatch: pytest.MonkeyPatch) -> Flows:
    """Drive a source of 20 less 2 w against 4 w and, behind a valve, against 40 and 2 w.

    Without the valve the flows would be -2, 6 and -8, at a pressure of 24.
    """
    monkeypatch.setattr(network, "ITERATION_LIMIT", limit)
    topology = Topology(2, (0, 1, 1), (1, 0, 0), 0, check_valves=1)
    law = links([2.0, 4.0, 2.0], [0.0] * 3, [20.0, 0.0, -40.0])
    cases = len(start)
    begun = np.array([[-2.0] * cases, [6.0] * cases, start])
    wide = Links(*(np.repeat(part, cases, axis=1) for part in law))
    return network.solve(topology, wide, begun)


def test_a_step_through_a_valve_stops_right_behind_it(monkeypatch: pytest.MonkeyPatch) -> None:
    """From before the valve one step ends behind it; from behind it goes all the way.

    A case that stopped has not settled, whatever its neighbours have.
    """
    flows = behind_a_valve([5.0, 0.0, -3.0, -8.0], 1, monkeypatch)

    np.testing.assert_allclose(flows.flow[:2], [[-2.0] * 4, [6.0] * 4], rtol=1e-12)
    np.testing.assert_allclose(flows.flow[2], [-network.BEHIND_VALVE, -8.0, -8.0, -8.0], rtol=1e-6)
    assert flows.converged.tolist() == [False, False, False, True]
    np.testing.assert_allclose(flows.pressure, [[0.0] * 4, [24.0] * 4], rtol=1e-12)


def test_a_valve_that_stays_open_or_shut_stops_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    """Only the step that goes from before the valve to behind it is stopped."""
    topology = Topology(2, (0, 1, 1), (1, 0, 0), 0, check_valves=1)
    law = links([2.0, 4.0, 2.0], [0.0] * 3, [20.0, 0.0, 0.0])
    monkeypatch.setattr(network, "ITERATION_LIMIT", 1)

    flows = network.solve(topology, law, np.array([[5.0], [5.0], [5.0]]))

    np.testing.assert_allclose(flows.flow[:, 0], [6.0, 2.0, 4.0], rtol=1e-12)


def test_patience_with_a_valve_ends(monkeypatch: pytest.MonkeyPatch) -> None:
    """A valve that turns back and forth is no longer stopped after so many iterations."""
    monkeypatch.setattr(network, "PATIENCE", 0)

    flows = behind_a_valve([5.0], 1, monkeypatch)

    assert flows.flow[2, 0] == pytest.approx(-8.0)


def test_valves_are_the_last_links() -> None:
    """So many of the last links have a valve; without any, the first valve is past the end."""
    assert Topology(2, (0, 1, 1), (1, 0, 0), 0, check_valves=1).first_valve == 2
    assert Topology(2, (0, 1, 1), (1, 0, 0), 0).first_valve == 3
