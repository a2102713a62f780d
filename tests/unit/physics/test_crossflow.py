"""The series of two unmixed streams: digits of a case alone, and against plain integration."""

import numpy as np
import pytest
from scipy import integrate, special

from loopmargin_service.physics import crossflow


@pytest.mark.parametrize("strongs", [(0.5, 30.0), (0.5, 30.0, 30.0), (0.1, 2.0, 9.0, 30.0)])
def test_a_case_has_the_digits_of_the_case_alone(strongs: tuple[float, ...]) -> None:
    """Among neighbours that need fewer or more terms, the first or the last of them."""
    for order in (np.array(strongs), np.array(strongs[::-1])):
        weak = np.minimum(order, 1.0) * 0.9
        together = crossflow.effectiveness_and_rise(weak, order)
        alone = [
            crossflow.effectiveness_and_rise(weak[[number]], order[[number]])
            for number in range(order.size)
        ]
        for part in range(2):
            np.testing.assert_array_equal(together[part], [one[part][0] for one in alone])
        np.testing.assert_array_equal(crossflow.effectiveness(weak, order), together[0])


@pytest.mark.parametrize("weak", [0.05, 0.7, 3.0, 9.0])
@pytest.mark.parametrize("ratio", [0.1, 0.6, 1.0])
def test_equals_the_mean_over_the_outlet(weak: float, ratio: float) -> None:
    """Local temperatures with the Bessel function of Nusselt, averaged by quadrature.

    Where the weaker stream leaves, beside a place x of the other's path, there is left of the
    inlet difference 1 - exp(-x) int exp(-s) I0(2 sqrt(x s)) ds over the weaker one's own path
    (W. Nusselt 1930, in this form from memory); integrated with scipy 1.17.1.
    """
    strong = weak * ratio

    def left(along: float) -> float:
        """Give what is left of the inlet difference, beside a place of the stronger stream."""
        inner = integrate.quad(
            lambda s: (
                np.exp(-((np.sqrt(s) - np.sqrt(along)) ** 2))
                * special.ive(0, 2.0 * np.sqrt(along * s))
            ),
            0.0,
            weak,
            epsabs=1e-13,
        )[0]
        return 1.0 - inner

    expected = 1.0 - integrate.quad(left, 0.0, strong, epsabs=1e-12)[0] / strong
    found = crossflow.effectiveness(np.array([weak]), np.array([strong]))[0]
    assert expected == pytest.approx(found, rel=1e-9)
