"""The draws against closed forms, the guides to uncertainty and an independent library."""

import math

import msgspec
import numpy as np
import pytest
from uncertainties import ufloat

from loopmargin_service.physics.network import Array
from loopmargin_service.questions import supply_headroom
from loopmargin_service.questions.draws import Cause, Draws, draw
from loopmargin_service.questions.spreads import Quantity, linearised, simulation
from loopmargin_wire.radiator_area import RadiatorAreaQuestion
from loopmargin_wire.supply_headroom import SupplyHeadroomQuestion
from loopmargin_wire.uncertainty import Drawing, Spread
from tests.unit.questions.asked import example

MOST = 20_000
# Standard errors of so many draws that a right result may be off by.
ERRORS = 4.0


def drawn(*causes: Cause) -> Draws:
    """Draw as many as the wire allows."""
    question = msgspec.convert(example("radiator-area"), RadiatorAreaQuestion)
    return draw(question, Drawing(draws=MOST), causes)


def spread(values: Array, some: Draws) -> Spread:
    """Describe one quantity."""
    return simulation(some, [Quantity("y", "1", values)], 0.95).spreads[0]


def test_additive_model_of_four_normal_inputs() -> None:
    """JCGM 101:2008, 9.2.2 (from memory): u(y) = 2.00 and an interval of -3.92 to 3.92."""
    some = drawn(*(Cause(f"x{row}", 1.0, "9.2.2", unit="1x") for row in range(4)))
    found = spread(np.asarray(sum(some.offset(f"x{row}") for row in range(4))), some)

    assert abs(found.standard_uncertainty - 2.00) <= ERRORS * 2.0 / math.sqrt(2 * MOST)
    assert abs(found.low + 3.92) <= ERRORS * found.low_error
    assert abs(found.high - 3.92) <= ERRORS * found.high_error
    assert found.linear_agrees


def test_end_gauge() -> None:
    """JCGM 100:2008, H.1 (from memory): 32 nm to first order, 34 nm with the second.

    The gauge is compared with a standard of 50.000623 mm; expansion and temperature enter
    as products, which first order sees in part and the draws see whole.
    """
    length = 50.000623e6
    some = drawn(
        Cause("standard", 25.0, "H.1", unit="nm"),
        Cause("difference", 9.7, "H.1", unit="nm"),
        Cause("expansion", 1.2e-6, "H.1", unit="1/K"),
        Cause("apart", 0.58e-6, "H.1", unit="1/K"),
        Cause("deviation", 0.41, "H.1", unit="K"),
        Cause("gradient", 0.029, "H.1", unit="K"),
    )
    expansion = 11.5e-6 + some.offset("expansion")
    warm = -0.1 + some.offset("deviation")
    gauge = np.asarray(
        length
        + some.offset("standard")
        + 215.0
        + some.offset("difference")
        - length * (some.offset("apart") * warm + expansion * some.offset("gradient"))
    )

    first_order = linearised(some.normal, [gauge])[0].deviation
    assert first_order == pytest.approx(32.0, abs=0.5 + ERRORS * 32.0 / math.sqrt(2 * MOST))
    whole = spread(gauge, some).standard_uncertainty
    assert whole == pytest.approx(34.0, abs=0.5 + ERRORS * 34.0 / math.sqrt(2 * MOST))


def test_product_of_lognormal_factors() -> None:
    """The logarithm of a product is a sum, so its ends are known in closed form."""
    some = drawn(Cause("a", 0.2, "here"), Cause("b", 0.3, "here"), Cause("c", 0.1, "here"))
    product = some.factor("a") * some.factor("b") / some.factor("c")
    found = spread(np.asarray(product), some)

    sigma = math.sqrt(sum(math.log1p(u * u) for u in (0.2, 0.3, 0.1)))
    low, high = (math.exp(sign * 1.959964 * sigma) for sign in (-1.0, 1.0))
    assert abs(found.low - low) <= ERRORS * found.low_error
    assert abs(found.high - high) <= ERRORS * found.high_error
    mean, square = math.exp(0.5 * sigma**2), math.exp(sigma**2)
    # A lognormal has longer tails than the normal that the error is taken of.
    deviation = mean * math.sqrt(square - 1.0)
    assert found.standard_uncertainty == pytest.approx(deviation, rel=0.05)
    assert not found.linear_agrees


def test_first_order_against_a_library() -> None:
    """`uncertainties` 3.2.3 on sqrt(a b / c) + a, with small uncertainties."""
    some = drawn(Cause("a", 0.01, "here"), Cause("b", 0.02, "here"), Cause("c", 0.015, "here"))
    a, b, c = 3.0 * some.factor("a"), 5.0 * some.factor("b"), 2.0 * some.factor("c")
    ours = linearised(some.normal, [np.asarray(np.sqrt(a * b / c) + a)])[0]
    x, y, z = ufloat(3.0, 0.03), ufloat(5.0, 0.10), ufloat(2.0, 0.03)

    theirs = (x * y / z) ** 0.5 + x

    assert ours.deviation == pytest.approx(theirs.std_dev, rel=ERRORS / math.sqrt(2 * MOST) + 1e-3)
    assert ours.middle == pytest.approx(theirs.nominal_value, rel=1e-3)


def test_sustained_power_against_a_library() -> None:
    """`uncertainties` 3.2.3 on the sum of the loads, which is linear: equal to the last digits."""
    asked = example("supply-headroom")
    plain = supply_headroom.answer(
        msgspec.convert({**asked, "uncertainty": None}, SupplyHeadroomQuestion)
    )
    question = plain.question
    loads = [
        question.processor.sustained_w * ufloat(1.0, question.processor.relative_uncertainty),
        *(
            card.count * card.sustained_w * ufloat(1.0, card.relative_uncertainty)
            for card in question.cards
        ),
        question.rest_w * ufloat(1.0, question.rest_relative_uncertainty),
    ]

    total = sum(loads)

    assert plain.state.sustained_w == pytest.approx(total.nominal_value, rel=1e-12)
    assert plain.state.sustained_uncertainty_w == pytest.approx(total.std_dev, rel=1e-12)
