"""Passages: tubes and fittings against the textbook sum of their losses."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from loopmargin_service.physics.coolant import Properties
from loopmargin_service.physics.passage import (
    folded,
    friction_drop,
    passage_drop,
    passage_terms,
)
from tests.unit.physics.bench_loop import (
    DENSITY,
    TUBES,
    VISCOSITY,
    Branch,
    Tube,
    darcy_weisbach,
    everywhere,
    passages,
)

ROUGH = settings(deadline=None, max_examples=40)
FLOWS = st.floats(-0.3, 0.3).filter(lambda flow: abs(flow) > 1e-6)


@ROUGH
@given(tube=TUBES, flow=FLOWS, viscosity=st.floats(3e-4, 1e-2))
def test_a_tube_loses_what_weisbach_says(tube: Tube, flow: float, viscosity: float) -> None:
    """Friction and fittings add up to the textbook sum, in either direction of the flow."""
    expected = darcy_weisbach(tube, flow, 1010.0, viscosity)

    found = passage_drop(
        passages([Branch(0, 1, [tube])]), everywhere(1, viscosity, 1010.0), np.array([[flow]])
    )

    assert float(found[0, 0]) == pytest.approx(expected, rel=1e-9)


def test_laminar_tube_is_poiseuille() -> None:
    """At Re 637 a bore of 10 mm loses 128 mu L Q / (pi D^4)."""
    tube = passages([Branch(0, 1, [Tube(1.0)])])

    drop = passage_drop(tube, everywhere(1, 2e-3), np.array([[DENSITY * 1e-5]]))

    poiseuille = 128.0 * 2e-3 * 1.0 * 1e-5 / (math.pi * 0.010**4)
    assert poiseuille == pytest.approx(float(drop[0, 0]), rel=1e-6)


def test_terms_are_those_of_the_written_sum() -> None:
    """Linear, quadratic and friction terms give K1/Re, K and f L/D on the velocity head."""
    tube = Tube(2.0, 0.008, viscous=500.0, inertial=3.0)
    flow, area = 0.04, math.pi * 0.008**2 / 4.0
    reynolds = flow * 0.008 / (area * VISCOSITY)
    head = flow**2 / (2.0 * DENSITY * area**2)

    terms = passage_terms(passages([Branch(0, 1, [tube])]), everywhere(1, VISCOSITY))

    assert float(terms.reynolds_per_flow[0, 0]) * flow == pytest.approx(reynolds, rel=1e-12)
    assert float(terms.linear[0, 0]) * flow == pytest.approx(500.0 / reynolds * head, rel=1e-12)
    assert float(terms.quadratic[0, 0]) * flow**2 == pytest.approx(3.0 * head, rel=1e-12)
    assert float(terms.weight[0, 0]) * flow**2 == pytest.approx(250.0 * head, rel=1e-12)


@ROUGH
@given(flow=FLOWS | st.floats(-1e-8, 1e-8), roughness=st.floats(0.0, 0.02))
def test_friction_is_odd_and_rises(flow: float, roughness: float) -> None:
    """Turned round, the drop changes sign only; its slope is above zero, at rest too."""
    batch = np.array([[flow, -flow]])

    drop, slope = friction_drop(np.array([[4e6]]), np.array([[1.2e5]]), np.array(roughness), batch)

    assert drop[0, 0] == -drop[0, 1]
    assert slope[0, 0] == slope[0, 1] > 0.0


def test_only_what_has_a_length_rubs() -> None:
    """Fittings without a length have no part in the friction factor."""
    mixed = passages([Branch(0, 1, [Tube(0.0, inertial=5.0), Tube(1.0), Tube(0.0), Tube(0.2)])])

    assert mixed.rubbing.tolist() == [1, 3]


ALIKE = [
    Tube(1.0),
    Tube(0.5, viscous=200.0, inertial=1.0),
    Tube(0.3, 0.008),
    Tube(0.0, viscous=900.0, inertial=2.0),
    Tube(0.7, roughness=1e-4),
    Tube(0.2),
]


@pytest.mark.parametrize(
    ("state", "count"), [([0] * 6, 3), ([0, 0, 0, 1, 1, 1], 4), ([0, 1, 2, 3, 4, 5], 6)]
)
def test_folded_passages_lose_as_much(state: list[int], count: int) -> None:
    """Tubes of one bore, roughness and state become one; a branch loses what it did before."""
    whole = passages([Branch(0, 1, ALIKE)])
    warmth = np.array([1e-3, 8e-4, 7e-4, 6e-4, 5e-4, 4e-4])[state]
    flow = np.array([[0.002, 0.02, -0.1]])

    fold = folded(whole, np.array(state))

    assert fold.passages.bore.size == count
    liquid = everywhere(6, np.ones(3))._replace(viscosity=np.repeat(warmth[:, None], 3, axis=1))
    inside = Properties(*(rows[fold.first] for rows in liquid))
    np.testing.assert_allclose(
        passage_drop(fold.passages, inside, flow).sum(axis=0),
        passage_drop(whole, liquid, flow).sum(axis=0),
        rtol=1e-13,
    )


def test_passages_of_other_branches_stay_apart() -> None:
    """Two branches of the same tube have a passage each, and each knows its members."""
    fold = folded(
        passages([Branch(0, 1, [Tube(1.0), Tube(2.0)]), Branch(0, 1, [Tube(4.0)])]), np.zeros(3)
    )

    assert fold.member.tolist() == [0, 0, 1]
    assert fold.passages.branch.tolist() == [0, 1]
    assert fold.passages.friction_length.tolist() == pytest.approx([300.0, 400.0])


def test_factors_on_friction_count_by_length() -> None:
    """A factor for each tube gives those folded the mean over their lengths; one for all stays."""
    fold = folded(
        passages([Branch(0, 1, [Tube(1.0), Tube(0.0), Tube(3.0, 0.008), Tube(3.0)])]), np.zeros(4)
    )
    factor = np.array([[2.0, 1.0], [1.5, 1.5], [1.0, 2.0]])

    np.testing.assert_allclose(fold.friction(factor), [[1.25, 1.75], [1.5, 1.5]])
    assert fold.friction(1.3) == 1.3
    assert fold.friction(factor[0]) is not None
