"""Networks of plain links, drop = linear w + quadratic w |w| - source, and random ones."""

from collections.abc import Callable, Sequence
from typing import NamedTuple

import numpy as np
from hypothesis import strategies as st

from loopmargin_service.physics.batch import cases_of
from loopmargin_service.physics.network import Array, Flows, Topology, solve
from loopmargin_service.physics.rows import Index


class Links(NamedTuple):
    """Coefficients of each link, (links, batch); a source drives flow along its own link."""

    linear: Array
    quadratic: Array
    source: Array

    def __call__(self, flow: Array) -> tuple[Array, Array]:
        """Give pressure drops and slopes of all links."""
        per_unit = self.quadratic * np.abs(flow)
        return (self.linear + per_unit) * flow - self.source, self.linear + 2.0 * per_unit

    def cases(self, chosen: Index) -> "Links":
        """Give some cases."""
        return cases_of(self, chosen)

    def case(self, number: int) -> "Links":
        """Give one case, with a batch axis of one."""
        return Links(*(array[:, number : number + 1] for array in self))

    def ordered(self, order: Sequence[int]) -> "Links":
        """Give the links in another order."""
        return Links(*(array[list(order)] for array in self))


class alike(NamedTuple):  # noqa: N801 - a decorator
    """A law that is the same for every case."""

    function: Callable[[Array], tuple[Array, Array]]

    def __call__(self, flow: Array) -> tuple[Array, Array]:
        """Give pressure drops and slopes of all links."""
        return self.function(flow)

    def cases(self, _: Index) -> "alike":
        """Give some cases, which are like all others."""
        return self


class Network(NamedTuple):
    """A topology with what is in its links."""

    topology: Topology
    links: Links

    def solved(self, start: Array | float = 1.0) -> Flows:
        """Solve, and insist that it has settled."""
        flows = solve(self.topology, self.links, np.broadcast_to(start, self.links.linear.shape))
        assert flows.converged.all()
        return flows


def links(linear: list[float], quadratic: list[float], source: list[float]) -> Links:
    """Give links for one case."""
    return Links(*(np.array(values)[:, None] for values in (linear, quadratic, source)))


# A linear part for links that have none, so that no slope is zero.
SMALL = 1e-9


@st.composite
def networks(draw: st.DrawFn, cases: int = 1) -> Network:
    """Draw a circuit through all nodes with up to six more links, and a source in the first.

    Every link of the circuit and every chord lies on a cycle, so flow can pass all of them.
    """
    nodes = draw(st.integers(2, 5))
    chord = st.tuples(st.integers(0, nodes - 1), st.integers(0, nodes - 1))
    chords = draw(st.lists(chord.filter(lambda ends: ends[0] != ends[1]), max_size=6))
    ends = [(node, (node + 1) % nodes) for node in range(nodes)] + chords
    seed = draw(st.integers(0, 2**32 - 1))
    random = np.random.default_rng(seed)
    shape = (len(ends), cases)
    source = np.zeros(shape)
    source[0] = random.uniform(1.0, 50.0, cases)
    tail, head = zip(*ends, strict=True)
    topology = Topology(nodes, tail, head, draw(st.integers(0, nodes - 1)))
    return Network(
        topology,
        Links(
            10.0 ** random.uniform(-2.0, 1.0, shape), 10.0 ** random.uniform(-2, 1, shape), source
        ),
    )


def squares() -> st.SearchStrategy[Network]:
    """Draw a network in which every link, the source included, is w^2 alone."""
    return networks().map(
        lambda drawn: drawn._replace(
            links=drawn.links._replace(linear=np.full_like(drawn.links.linear, SMALL))
        )
    )
