"""Loops of more cases than are worked on together, and some cases of the law of a loop."""

import numpy as np
import pytest

from loopmargin_service.physics.batch import TILE
from loopmargin_service.physics.loop import ImposedFlow, LoopLaw, loop_terms
from tests.unit.physics.bench_loop import Branch, Part, Pump, Tube, filled, loop, parabola

LAYOUT = loop([Branch(1, 0, [Tube(1.0), Part(), Tube(0.4), Tube(2.0)])], [Pump(parabola())])
CASES = 2 * TILE


@pytest.mark.parametrize("viscosity", [np.array([1e-3]), np.linspace(0.5e-3, 4e-3, CASES)])
def test_a_case_loses_alone_what_it_loses_among_thousands(viscosity: np.ndarray) -> None:
    """With one coolant for all cases, and with a coolant for each."""
    flow = np.tile(np.linspace(-0.2, 0.3, CASES), (2, 1))
    law = LoopLaw(loop_terms(LAYOUT, filled(LAYOUT, viscosity)), ImposedFlow(flow[1:]))
    drop, slope = law(flow)

    assert drop.shape == (2, CASES)
    for case in (0, 1, TILE // 3, TILE - 1, TILE, CASES - 1):
        own = viscosity[[case]] if viscosity.size > 1 else viscosity
        alone = LoopLaw(loop_terms(LAYOUT, filled(LAYOUT, own)), ImposedFlow(flow[1:, [case]]))(
            flow[:, [case]]
        )
        np.testing.assert_array_equal(drop[:, [case]], alone[0])
        np.testing.assert_array_equal(slope[:, [case]], alone[1])


def test_some_cases_of_wanted_flows() -> None:
    """Each pump keeps its own row."""
    wanted = np.array([[1.0, 2.0, 3.0], [10.0, 20.0, 30.0]])
    some = ImposedFlow(wanted).cases(np.array([2, 0]))
    assert some.wanted.tolist() == [[3.0, 1.0], [30.0, 10.0]]
