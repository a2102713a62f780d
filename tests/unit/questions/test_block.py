"""Thermal resistance of a water block, from each of its three descriptions."""

import msgspec
import pytest

from loopmargin_service.questions import block
from loopmargin_service.questions.conversion import L_PER_MIN
from loopmargin_wire.steady_state import BlockResistance


def law(**given: object) -> block.Law:
    """Reduce a description of the wire."""
    resistance: BlockResistance = msgspec.convert(given, BlockResistance)
    return block.law(resistance)


def test_constant_resistance() -> None:
    """A block of one resistance keeps it at any flow, and at none."""
    given = law(kind="constant", resistance_k_per_w=0.08)
    assert [given.at(flow * L_PER_MIN) for flow in (0.0, 1.0, 10.0)] == [0.08] * 3


def test_resistance_curve() -> None:
    """0.03 + 0.04 / 4^0.5 is 0.05 K/W at 4 L/min; 0.07 K/W at one."""
    given = law(kind="curve", minimum_k_per_w=0.03, factor_k_per_w=0.04, exponent=0.5)
    assert pytest.approx([given.at(1.0 * L_PER_MIN), given.at(4.0 * L_PER_MIN)]) == [0.07, 0.05]


def test_resistance_points() -> None:
    """Points that lie on the law give it back."""
    points = [
        {"flow_l_per_min": flow, "resistance_k_per_w": 0.03 + 0.04 * flow**-0.7}
        for flow in (0.5, 1.0, 2.0, 4.0)
    ]
    given = law(kind="points", points=points)

    assert given.at(3.0 * L_PER_MIN) == pytest.approx(0.03 + 0.04 * 3.0**-0.7, rel=1e-4)


def test_one_point_is_a_constant() -> None:
    """A single measurement says nothing of other flows."""
    given = law(kind="points", points=[{"flow_l_per_min": 2.0, "resistance_k_per_w": 0.06}])
    assert pytest.approx([given.at(L_PER_MIN), given.at(8.0 * L_PER_MIN)]) == [0.06, 0.06]


@pytest.mark.parametrize("resistances", [(0.0005,), (5.0, 0.0005), (0.0005, 5.0), (5.0,) * 4])
def test_extreme_measurements(resistances: tuple[float, ...]) -> None:
    """From the least to the largest that the wire allows, the law stays between them."""
    points = [
        {"flow_l_per_min": flow, "resistance_k_per_w": value}
        for flow, value in enumerate(resistances, start=1)
    ]
    assert 0.0 < law(kind="points", points=points).at(2.0 * L_PER_MIN) <= 5.1
