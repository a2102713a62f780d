"""Curves, fits and tubes against scipy 1.17.1 and fluids 1.3.1; points and parts are invented."""

import math

import numpy as np
import pytest
from fluids.core import dP_from_K
from fluids.friction import Churchill_1977
from scipy.interpolate import PchipInterpolator
from scipy.optimize import approx_fprime, least_squares, nnls

from loopmargin_service.physics import cold_plate, drop, monotone, passage, pipe
from loopmargin_service.physics.coolant import Properties
from tests.published.printed import Independent

PCHIP = Independent("scipy 1.17.1 `PchipInterpolator`", rel=1e-9, abs=1e-12)
NNLS = Independent("scipy 1.17.1 `nnls`", rel=1e-6, abs=1e-3)
LEAST = Independent("scipy 1.17.1 `least_squares` on relative deviations", rel=1e-3)
WEISBACH = Independent("fluids 1.3.1 `dP_from_K` and `Churchill_1977`", rel=1e-9)
SLOPE = Independent("scipy 1.17.1 `approx_fprime` of fluids 1.3.1 `Churchill_1977`", rel=1e-4)
POISEUILLE = Independent("Hagen and Poiseuille, and Borda and Carnot, in the other state", rel=1e-9)
JETS = Independent("power of the flow between two flows, exponents of textbooks", rel=1e-9)
LITRE_PER_MINUTE = 1e-3 / 60.0


@pytest.mark.law("monotone.slopes", "monotone.interpolate")
@pytest.mark.parametrize("seed", range(6))
def test_monotone_curves(seed: int) -> None:
    """Slopes in the points and values between them are scipy's."""
    random = np.random.default_rng(seed)
    x = np.cumsum(random.uniform(0.2, 2.0, 7))
    y, at = random.normal(0.0, 2.0, 7), np.linspace(x[0], x[-1], 29)
    other = PchipInterpolator(x, y)

    PCHIP.check(monotone.slopes(x, y), other.derivative()(x), "monotone.slopes")
    PCHIP.check(monotone.interpolate(x, y, at), other(at), "monotone.interpolate")


@pytest.mark.law("drop.fit_drop")
@pytest.mark.parametrize("span", [(2.0, 3.0, 5.0), (2.5, 3.5, 4.5, 6.0)])
@pytest.mark.parametrize("seed", range(3))
def test_drop_through_scattered_points(span: tuple[float, ...], seed: int) -> None:
    """Over a narrow span absolute errors are squared, as by non-negative least squares."""
    flow = np.array(span) * LITRE_PER_MINUTE
    scatter = np.random.default_rng(seed).uniform(0.9, 1.1, flow.size)
    measured = scatter * (5e7 * flow + 1.5e12 * flow**2)
    scaled = flow / flow.max()

    found = drop.fit_drop(flow, measured)

    expected, _ = nnls(np.stack([scaled, scaled**2], axis=1), measured)
    NNLS.check([found.linear * flow.max(), found.quadratic * flow.max() ** 2], expected)


@pytest.mark.law("drop.at_state")
@pytest.mark.parametrize(("thicker", "denser"), [(0.5, 0.98), (2.0, 1.03), (4.0, 1.05)])
def test_drop_with_another_coolant(thicker: float, denser: float) -> None:
    """A laminar tube and a sudden widening of known geometry, worked again in the other state."""
    bore, length, viscosity, density = 0.006, 0.5, 8.9e-4, 997.0
    linear = 128.0 * viscosity * length / (math.pi * bore**4)
    quadratic = 0.5 * density / (math.pi * bore**2 / 4.0) ** 2

    found = drop.at_state(drop.Drop(np.array(linear), np.array(quadratic)), thicker, denser)

    POISEUILLE.check(
        [found.linear, found.quadratic],
        [
            128.0 * (thicker * viscosity) * length / (math.pi * bore**4),
            0.5 * (denser * density) / (math.pi * bore**2 / 4.0) ** 2,
        ],
    )


@pytest.mark.law("cold_plate.fit_resistance")
@pytest.mark.parametrize("seed", range(4))
def test_resistance_through_scattered_points(seed: int) -> None:
    """A bounded search over all three numbers fits no better and ends at the same curve."""
    relative = np.array([0.5, 1.0, 2.0, 3.0, 4.0])
    scatter = np.random.default_rng(seed).uniform(0.98, 1.02, 5)
    measured = scatter * (0.03 + 0.02 * relative**-0.55)

    def deviation(law: np.ndarray) -> np.ndarray:
        return (law[0] + law[1] * relative ** -law[2]) / measured - 1.0

    other = least_squares(
        deviation, [0.02, 0.02, 0.6], bounds=([0.0, 0.0, 0.2], [1.0, 1.0, 1.0]), xtol=1e-14
    )

    found = cold_plate.fit_resistance(relative * cold_plate.REFERENCE_FLOW, measured)

    assert found.residual <= np.sqrt(np.mean(other.fun**2)) * (1.0 + 1e-4)
    flow = np.array([0.7, 1.5, 2.5, 3.5])
    LEAST.check(
        cold_plate.resistance(
            found.minimum, found.factor, found.exponent, flow * cold_plate.REFERENCE_FLOW
        ),
        other.x[0] + other.x[1] * flow ** -other.x[2],
    )


@pytest.mark.law("cold_plate.resistance")
@pytest.mark.parametrize("exponent", [1.0 / 3.0, 0.5, 0.8, 1.0])
def test_resistance_at_twice_the_flow(exponent: float) -> None:
    """Twice the flow divides the part that depends on it by a power of two."""
    once, twice = (
        cold_plate.resistance(0.03, 0.02, exponent, litres * LITRE_PER_MINUTE) - 0.03
        for litres in (1.5, 3.0)
    )

    JETS.check(once / twice, 2.0**exponent)


@pytest.mark.law("pipe.friction_factor_and_exponent")
@pytest.mark.parametrize("reynolds", [10.0, 500.0, 2300.0, 3000.0, 5000.0, 3e4, 1e6])
@pytest.mark.parametrize("roughness", [0.0, 1e-3, 0.02])
def test_slope_of_the_friction_factor(reynolds: float, roughness: float) -> None:
    """Factor and slope are those of the library's law."""
    factor, exponent = pipe.friction_factor_and_exponent(reynolds, roughness)
    slope = exponent * factor / reynolds
    step = 1e-6 * reynolds

    WEISBACH.check(factor, Churchill_1977(reynolds, roughness))
    SLOPE.check(
        slope,
        approx_fprime([reynolds], lambda at: Churchill_1977(float(at[0]), roughness), step),
    )


@pytest.mark.law("passage.passage_drop", "passage.friction_drop")
@pytest.mark.parametrize("flow", [-0.1, 0.002, 0.02, 0.05, 0.2])
def test_tubes_with_fittings(flow: float) -> None:
    """The drop of a rough tube with a fitting of two constants is the library's."""
    bore, length, roughness, viscous, inertial = 0.010, 1.3, 1e-3, 500.0, 2.5
    viscosity, density = 8.9e-4, 997.0
    velocity = abs(flow) / (density * math.pi * bore**2 / 4.0)
    reynolds = density * velocity * bore / viscosity
    rubbing = Churchill_1977(reynolds, roughness) * length / bore
    tube = passage.Passages(
        np.array([0]),
        *(np.array([v]) for v in (bore, roughness, length / bore, viscous, inertial)),
    )
    liquid = Properties(*(np.array([[v]]) for v in (density, viscosity, 4180.0, 0.6)))
    through = np.array([[flow]])
    terms = passage.passage_terms(tube, liquid)

    rubbed, _ = passage.friction_drop(
        terms.weight, terms.reynolds_per_flow, np.array([[roughness]]), through
    )

    sign = math.copysign(1.0, flow)
    WEISBACH.check(rubbed, sign * dP_from_K(rubbing, density, velocity), "passage.friction_drop")
    WEISBACH.check(
        passage.passage_drop(tube, liquid, through),
        sign * dP_from_K(rubbing + viscous / reynolds + inertial, density, velocity),
        "passage.passage_drop",
    )
