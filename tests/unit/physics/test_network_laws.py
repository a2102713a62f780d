"""Any network: conservation, monotony, and what must not change the answer."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from loopmargin_service.physics import network
from loopmargin_service.physics.network import Array, Flows, Topology
from tests.unit.physics.plain_links import SMALL, Links, Network, links, networks, squares

ROUGH = settings(deadline=None, max_examples=30)
# The iteration stops at 1e-10 of the largest drop, which leaves up to some 1e-8 of the largest
# flow open where resistances span four decades.
SETTLED = 1e-7


def force(topology: Topology, flows: Flows) -> Array:
    """Give the pressure at the tail of each link less that at its head, written out."""
    return np.stack(
        [
            flows.pressure[tail] - flows.pressure[head]
            for tail, head in zip(topology.tail, topology.head, strict=True)
        ]
    )


def surplus(topology: Topology, flow: Array) -> Array:
    """Give what flows into each node less what leaves it, written out."""
    net = np.zeros((topology.node_count, flow.shape[1]))
    for row, (tail, head) in enumerate(zip(topology.tail, topology.head, strict=True)):
        net[tail] -= flow[row]
        net[head] += flow[row]
    return net


@ROUGH
@given(networks())
def test_linear_networks_equal_kirchhoff(drawn: Network) -> None:
    """Linear links have the flows of Kirchhoff's two laws, solved densely by least squares."""
    topology, given_links = drawn
    linear = Network(topology, given_links._replace(quadratic=0.0 * given_links.quadratic))
    law = np.diag(given_links.linear[:, 0])
    edges = np.zeros((topology.node_count, len(topology.tail)))
    for row, (tail, head) in enumerate(zip(topology.tail, topology.head, strict=True)):
        edges[tail, row], edges[head, row] = -1.0, 1.0
    none = np.zeros((topology.node_count, topology.node_count))
    right = np.concatenate([given_links.source[:, 0], np.zeros(topology.node_count)])

    expected = np.linalg.lstsq(np.block([[law, edges.T], [edges, none]]), right)[0]

    flow = linear.solved().flow[:, 0]
    np.testing.assert_allclose(flow, expected[: len(flow)], atol=SETTLED * np.abs(flow).max())


@ROUGH
@given(networks(cases=3))
def test_every_node_conserves_mass(drawn: Network) -> None:
    """What enters each node leaves it, the reference included, to 1e-9 of the largest flow."""
    flow = drawn.solved().flow

    assert (np.abs(surplus(drawn.topology, flow)) <= 1e-9 * np.abs(flow).max(axis=0)).all()


@ROUGH
@given(networks(cases=3))
def test_every_link_balances(drawn: Network) -> None:
    """The drop of each link is the difference of its ends: round a loop the sum is zero."""
    flows = drawn.solved()
    drop, _ = drawn.links(flows.flow)

    np.testing.assert_allclose(
        force(drawn.topology, flows), drop, atol=1e-8 * drawn.links.source.max()
    )
    assert (flows.pressure[drawn.topology.reference] == 0.0).all()


@ROUGH
@given(networks(cases=5))
def test_a_batch_equals_single_cases(drawn: Network) -> None:
    """Five cases at once have the flows of each alone, to the tolerance of the iteration."""
    together = drawn.solved().flow

    for case in range(5):
        here = slice(case, case + 1)
        alone = Network(drawn.topology, drawn.links.case(case)).solved().flow
        np.testing.assert_allclose(together[:, here], alone, atol=SETTLED * np.abs(alone).max())


@ROUGH
@given(networks(), st.data())
def test_the_order_of_links_and_nodes_is_free(drawn: Network, data: st.DataObject) -> None:
    """Links in another order and nodes under other numbers carry the same flows."""
    topology, given_links = drawn
    order = data.draw(st.permutations(range(len(topology.tail))))
    number = data.draw(st.permutations(range(topology.node_count)))
    renamed = Topology(
        topology.node_count,
        tuple(number[topology.tail[row]] for row in order),
        tuple(number[topology.head[row]] for row in order),
        number[topology.reference],
    )

    expected = drawn.solved()
    flows = Network(renamed, given_links.ordered(order)).solved()

    scale = np.abs(expected.flow).max()
    np.testing.assert_allclose(flows.flow, expected.flow[order], atol=SETTLED * scale)
    np.testing.assert_allclose(
        flows.pressure[number], expected.pressure, atol=1e-8 * given_links.source.max()
    )


@ROUGH
@given(networks(), st.data())
def test_a_link_drawn_the_other_way_carries_the_opposite_flow(
    drawn: Network, data: st.DataObject
) -> None:
    """Turning round a link, with its source, changes the sign of its flow and nothing else."""
    topology, given_links = drawn
    turned = data.draw(st.integers(0, len(topology.tail) - 1))
    sign = np.ones((len(topology.tail), 1))
    sign[turned] = -1.0
    tail, head = list(topology.tail), list(topology.head)
    tail[turned], head[turned] = head[turned], tail[turned]
    other = Topology(topology.node_count, tuple(tail), tuple(head), topology.reference)

    flow = drawn.solved().flow
    flipped = Network(other, given_links._replace(source=sign * given_links.source)).solved().flow

    np.testing.assert_allclose(sign * flipped, flow, atol=SETTLED * np.abs(flow).max())


@ROUGH
@given(networks(), st.integers(0, 1))
def test_another_reference_shifts_every_pressure(drawn: Network, reference: int) -> None:
    """The reference only says where pressure is zero; differences and flows stay."""
    topology, given_links = drawn
    moved = Topology(topology.node_count, topology.tail, topology.head, reference)

    first, second = drawn.solved(), Network(moved, given_links).solved()

    np.testing.assert_allclose(second.flow, first.flow, atol=SETTLED * np.abs(first.flow).max())
    shifted = first.pressure - first.pressure[reference]
    np.testing.assert_allclose(second.pressure, shifted, atol=1e-8 * given_links.source.max())


@ROUGH
@given(networks(), st.floats(-3.0, 3.0))
def test_scaled_pressures_leave_the_flows(drawn: Network, decades: float) -> None:
    """With every drop and source times k the flows stay and the pressures are times k."""
    factor = 10.0**decades
    scaled = Network(drawn.topology, Links(*(factor * array for array in drawn.links)))

    first, second = drawn.solved(), scaled.solved()

    np.testing.assert_allclose(second.flow, first.flow, atol=SETTLED * np.abs(first.flow).max())
    np.testing.assert_allclose(
        second.pressure, factor * first.pressure, atol=1e-8 * factor * drawn.links.source.max()
    )


@ROUGH
@given(networks(), st.floats(0.1, 10.0))
def test_squares_scale_with_the_root_of_the_source(drawn: Network, factor: float) -> None:
    """With linear parts times k and sources times k^2, every flow is k-fold."""
    linear, quadratic, source = drawn.links
    faster = Network(drawn.topology, Links(linear * factor, quadratic, source * factor**2))

    flow = drawn.solved().flow

    np.testing.assert_allclose(
        faster.solved().flow, factor * flow, atol=SETTLED * factor * np.abs(flow).max()
    )


@ROUGH
@given(squares(), st.data(), st.floats(1.0, 50.0))
def test_more_resistance_never_raises_the_total(
    drawn: Network, data: st.DataObject, factor: float
) -> None:
    """With one source, a link of more resistance lets no more flow through the source.

    A law only where every link follows the same power of the flow (B. Calvert and G. Keady,
    J. Austral. Math. Soc. B 35, 1993, from memory).
    """
    chosen = data.draw(st.integers(0, len(drawn.topology.tail) - 1))
    linear, quadratic, source = drawn.links
    stiffer = np.ones_like(linear)
    stiffer[chosen] = factor

    before = drawn.solved().flow[0, 0]
    after = Network(drawn.topology, Links(linear, quadratic * stiffer, source)).solved()

    assert after.flow[0, 0] <= before * (1.0 + SETTLED)


@ROUGH
@given(squares(), st.data())
def test_a_parallel_branch_never_lowers_the_total(drawn: Network, data: st.DataObject) -> None:
    """With one source and one power of the flow, one more way lets no less through the source."""
    topology, given_links = drawn
    node = st.integers(0, topology.node_count - 1)
    tail, head = data.draw(st.tuples(node, node))
    wider = Topology(
        topology.node_count, (*topology.tail, tail), (*topology.head, head), topology.reference
    )
    added = zip(given_links, (SMALL, 2.0, 0.0), strict=True)
    more = Links(*(np.concatenate([array, [[value]]]) for array, value in added))

    before = drawn.solved().flow[0, 0]

    assert Network(wider, more).solved().flow[0, 0] >= before * (1.0 - SETTLED)


@pytest.mark.parametrize(("bridge", "expected"), [(1e6, 1.4), (1e-6, 0.595**0.5 + 0.595)])
def test_mixed_laws_may_do_otherwise(bridge: float, expected: float) -> None:
    """A bridge between two arms, w then w^2 and w^2 then w, lowers the total from 1.4 to 1.366.

    Braess' paradox (1968), by closed form: 1.19 = 0.7 + 0.7^2 along either arm without the
    bridge, and 0.595 = w = w^2 through each half with its ends joined.
    """
    topology = Topology(4, (3, 0, 0, 1, 2, 1), (0, 1, 2, 3, 3, 2), 3)
    linear = [SMALL, SMALL, 1.0, 1.0, SMALL, bridge]

    flows = Network(topology, links(linear, [0, 1, 0, 0, 1, 0], [1.19, 0, 0, 0, 0, 0])).solved()

    assert flows.flow[0, 0] == pytest.approx(expected, rel=1e-5)


@ROUGH
@given(networks(), st.integers(0, 2**32 - 1))
def test_the_start_does_not_matter(drawn: Network, seed: int) -> None:
    """From flows of either sign up to a thousand times too large, the solution is the same."""
    start = np.random.default_rng(seed).uniform(-1e3, 1e3, drawn.links.linear.shape)

    expected = drawn.solved().flow

    np.testing.assert_allclose(
        drawn.solved(start).flow, expected, atol=SETTLED * np.abs(expected).max()
    )


@ROUGH
@given(networks())
def test_a_dead_end_is_the_only_link_without_return(drawn: Network) -> None:
    """Circuits with chords have none; a tail hung on them is one."""
    topology = drawn.topology
    nodes = topology.node_count
    hung = Topology(nodes + 1, (*topology.tail, 0), (*topology.head, nodes), 0)

    assert network.links_without_return(topology) == []
    assert network.links_without_return(hung) == [len(topology.tail)]
