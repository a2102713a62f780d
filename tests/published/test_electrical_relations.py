"""Currents, powers and allowances against circuits solved anew, records of time, and handbooks.

Wherever the law is a formula, the other way here does without that formula: nodes are solved,
or a record is sampled. The records and parts are invented.
"""

import numpy as np
import pytest
from scipy.interpolate import PchipInterpolator
from scipy.optimize import brentq

from loopmargin_service.physics import connector, efficiency, excursion, supply
from tests.published.printed import Independent

KIRCHHOFF = Independent("Kirchhoff's laws of the circuit, solved by numpy", rel=1e-9)
RECORD = Independent("RMS and mean of a sampled record", rel=1e-9)
PCHIP = Independent("scipy 1.17.1 `PchipInterpolator` of the losses", rel=1e-9)
WINDOWS = Independent("highest means of a sampled record", rel=1e-9)
HALVING = Independent("scipy 1.17.1 `brentq` on the load that just meets the allowance", rel=1e-9)
PRACTICE = Independent("common practice, no source, worked by hand", rel=1e-9)
HEIGHT = Independent("ASHRAE TC 9.9, 1 K for each 300 m above 900 m (from memory)", abs=1e-9)
WAVE = Independent("RMS of sampled sine waves with that mean of their product", rel=1e-6)


def branch_currents(resistance: list[float], current: float) -> np.ndarray:
    """Give the currents of parallel branches: equal voltages, and a sum that is given."""
    count = len(resistance)
    system = np.zeros((count, count))
    system[0] = 1.0
    for row in range(1, count):
        system[row, row - 1], system[row, row] = resistance[row - 1], -resistance[row]
    return np.linalg.solve(system, np.array([current] + [0.0] * (count - 1)))


@pytest.mark.law("connector.shares", "connector.parallel_resistance")
@pytest.mark.parametrize(
    "resistance", [[5e-3, 5e-3], [5e-3, 6e-3, 9e-3], [2e-3, 8e-3, 8e-3, 8e-3, 8e-3, 8e-3]]
)
def test_parallel_contacts(resistance: list[float]) -> None:
    """Currents divide, and voltage falls, as in the circuit."""
    currents = branch_currents(resistance, 50.0)

    KIRCHHOFF.check(connector.shares(resistance), currents / 50.0, "connector.shares")
    KIRCHHOFF.check(
        connector.parallel_resistance(resistance),
        currents[0] * resistance[0] / 50.0,
        "connector.parallel_resistance",
    )


@pytest.mark.law("connector.branch_spread_allowed")
@pytest.mark.parametrize(("rating", "current", "contacts"), [(9.2, 45.0, 6), (8.0, 18.0, 3)])
def test_spread_that_loads_one_contact_to_its_rating(
    rating: float, current: float, contacts: int
) -> None:
    """With the spread allowed, the best contact carries its rating in the circuit."""
    spread = float(connector.branch_spread_allowed(rating, current, contacts))

    KIRCHHOFF.check(branch_currents([1.0] + [spread] * (contacts - 1), current)[0], rating)


@pytest.mark.law("connector.rms_over_mean")
@pytest.mark.parametrize(("peak", "duty"), [(1.0, 0.3), (2.0, 0.1), (3.0, 0.25), (1.5, 0.5)])
def test_rms_of_a_record(peak: float, duty: float) -> None:
    """The RMS of a thousand samples at two levels, whose mean is one."""
    samples = np.full(1000, (1.0 - duty * peak) / (1.0 - duty))
    samples[: round(1000 * duty)] = peak

    assert samples.mean() == pytest.approx(1.0)
    RECORD.check(connector.rms_over_mean(peak, duty), np.sqrt(np.mean(samples**2)))


@pytest.mark.law("connector.duty_allowed")
@pytest.mark.parametrize(("peak", "mean", "limit"), [(2.0, 40.0, 55.0), (3.0, 10.0, 13.5)])
def test_duty_that_reaches_the_limit(peak: float, mean: float, limit: float) -> None:
    """A root finder on the RMS of two levels ends at the same share of time."""

    def over(duty: float) -> float:
        low = mean * (1.0 - duty * peak) / (1.0 - duty)
        return float(np.hypot(np.sqrt(duty) * peak * mean, np.sqrt(1.0 - duty) * low) - limit)

    RECORD.check(connector.duty_allowed(peak, mean, limit), brentq(over, 1e-9, 0.999, xtol=1e-14))


@pytest.mark.law("efficiency.measured_loss")
def test_losses_between_measured_points() -> None:
    """The curve between the points is scipy's, at both ends as the docstring says."""
    load, known = np.array([0.05, 0.2, 0.5, 0.8, 1.0]), np.array([0.72, 0.89, 0.92, 0.91, 0.895])
    at = np.linspace(0.05, 1.0, 20)

    PCHIP.check(
        efficiency.measured_loss(at, load, known), PchipInterpolator(load, load / known - load)(at)
    )
    PRACTICE.check(
        efficiency.measured_loss([0.01, 1.2], load, known),
        [0.05 / 0.72 - 0.05, 1.2 * (1.0 / 0.895 - 1.0)],
    )


@pytest.mark.law("excursion.measured_factor")
@pytest.mark.parametrize("seed", range(4))
def test_factors_of_a_record_need_no_mending(seed: int) -> None:
    """The highest means over 1, 2, 4, 8 and 16 samples fall already, so they come back."""
    record = np.random.default_rng(seed).gamma(2.0, 1.0, 4096)
    highest = [
        np.convolve(record, np.full(n, 1.0 / n), "valid").max() / record.mean()
        for n in (1, 2, 4, 8, 16)
    ]

    WINDOWS.check(excursion.measured_factor(highest), highest)
    WINDOWS.check(excursion.measured_factor([1.0, *highest]), [highest[0], *highest])


@pytest.mark.law("supply.demand", "supply.required_power")
@pytest.mark.parametrize("allowed", [1.0, 1.2, 2.0])
def test_supply_that_is_just_large_enough(allowed: float) -> None:
    """A root finder on the rating meets the allowance with the sum of the loads' peaks."""
    loads, factors = (300.0, 125.0, 60.0), (2.0, 1.5, 1.0)
    peak = sum(load * factor for load, factor in zip(loads, factors, strict=True))
    found = supply.demand(loads, np.array(factors)[:, None]).sum(axis=0)

    HALVING.check(found, peak, "supply.demand")
    HALVING.check(
        supply.required_power(found, [allowed]),
        brentq(lambda rating: rating * allowed - peak, 1.0, 1e4, xtol=1e-11),
        "supply.required_power",
    )


@pytest.mark.law("supply.derate_factor")
@pytest.mark.parametrize(
    ("inlet", "full", "slope", "left"),
    [(55, 50, 0.025, 0.875), (60, 50, 0.025, 0.75), (45, 40, 0.02, 0.9), (50, 40, 0.02, 0.8)],
)
def test_derating(inlet: float, full: float, slope: float, left: float) -> None:
    """2 to 2.5 % less for each kelvin above the full rating."""
    PRACTICE.check(supply.derate_factor(inlet, full, slope), left)


@pytest.mark.law("supply.full_rating_temperature")
@pytest.mark.parametrize(
    ("altitude", "celsius"), [(0.0, 35.0), (900.0, 35.0), (1200.0, 34.0), (3000.0, 28.0)]
)
def test_full_rating_at_a_height(altitude: float, celsius: float) -> None:
    """The allowed inlet of 35 degC falls with the height."""
    HEIGHT.check(supply.full_rating_temperature(308.15, altitude) - 273.15, celsius)


@pytest.mark.law("supply.mains_current")
@pytest.mark.parametrize("degrees", [0.0, 25.0, 60.0])
def test_current_of_a_phase_shift(degrees: float) -> None:
    """A sine of current behind one of voltage carries the power at cos(phi)."""
    phase = np.linspace(0.0, 2.0 * np.pi, 3600, endpoint=False)
    voltage = 230.0 * np.sqrt(2.0) * np.sin(phase)
    current = 3.0 * np.sqrt(2.0) * np.sin(phase - np.radians(degrees))

    found = supply.mains_current(np.mean(voltage * current), 230.0, np.cos(np.radians(degrees)))

    WAVE.check(found, np.sqrt(np.mean(current**2)))
