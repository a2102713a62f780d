"""Node pressures against the dense linear system, and against networks solved by hand."""

from itertools import combinations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from loopmargin_service.physics.network import Array
from loopmargin_service.physics.star_mesh import node_pressures, plan

Ends = list[tuple[int, int]]


def dense(count: int, ends: Ends, reference: int, given_links: tuple[Array, Array]) -> Array:
    """Write the balance of every node but the reference out, and solve it with LAPACK."""
    incidence = np.zeros((count, len(ends)))
    for link, (tail, head) in enumerate(ends):
        incidence[tail, link] -= 1.0
        incidence[head, link] += 1.0
    rows = np.delete(incidence, reference, axis=0)
    conductance, source = given_links
    matrix = np.einsum("il,lb,jl->bij", rows, conductance, rows)
    pressure = np.linalg.solve(matrix, (rows @ source).T[:, :, None])[:, :, 0].T
    return np.insert(pressure, reference, 0.0, axis=0)


@settings(deadline=None, max_examples=60)
@given(
    count=st.integers(1, 7),
    density=st.floats(0.0, 1.0),
    seed=st.integers(0, 2**32 - 1),
)
def test_any_network(count: int, density: float, seed: int) -> None:
    """Trees, rings, meshes and links beside each other or onto themselves: as the dense system."""
    random = np.random.default_rng(seed)
    ends = [(int(random.integers(node)), node) for node in range(1, count)]
    ends += [pair for pair in combinations(range(count), 2) if random.random() < density]
    ends += [(count - 1, 0), (0, 0)]
    reference = int(random.integers(count))
    conductance = 10.0 ** random.uniform(-2.0, 2.0, (len(ends), 3))
    source = random.normal(size=(len(ends), 3))

    pressure = node_pressures(plan(count, ends, reference), conductance, source)

    expected = dense(count, ends, reference, (conductance, source))
    np.testing.assert_allclose(pressure, expected, rtol=1e-9, atol=1e-9)
    assert (pressure[reference] == 0.0).all()


def test_a_bridge_by_hand() -> None:
    """With 4 driven into a balanced bridge of ones, its ends stand 4 apart and its middles at 2."""
    ends = [(0, 1), (0, 2), (1, 2), (1, 3), (2, 3), (3, 0)]
    source = np.array([[0.0]] * 5 + [[4.0]])
    conductance = np.array([[1.0]] * 5 + [[1e-300]])

    pressure = node_pressures(plan(4, ends, 3), conductance, source)

    np.testing.assert_allclose(pressure[:, 0], [4.0, 2.0, 2.0, 0.0], rtol=1e-12)


@pytest.mark.parametrize("spread", [1e8, 1e14])
def test_a_weak_link_beside_strong_ones(spread: float) -> None:
    """Nothing cancels: two nodes joined strongly and held weakly stand where the weak links say."""
    ends = [(0, 1), (1, 2), (2, 0)]
    conductance = np.array([[1.0], [spread], [1.0]])

    pressure = node_pressures(plan(3, ends, 0), conductance, np.array([[2.0], [0.0], [0.0]]))

    np.testing.assert_allclose(pressure[1:, 0], 1.0, rtol=2.0 / spread + 1e-15)


def test_few_neighbours_come_first() -> None:
    """Of a star with a ring, tips go before the hub, which would join all of them."""
    order = plan(6, [(0, tip) for tip in range(1, 6)] + [(1, 2)], 5)

    assert [step.node for step in order.removals][:2] == [3, 4]
    assert order.removals[-1].neighbours == ()
    assert order.removals[-1].grounded
