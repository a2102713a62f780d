"""Places of a loop: each asked for once, and everything gets the coolant of its own."""

import numpy as np

from loopmargin_service.physics import coolant
from loopmargin_service.physics.sites import Place, sites

# Three points along a branch; tubes before, between and after, a block and a radiator.
PASSAGES = Place(np.array([0, 0, 1, 2]), np.array([0, 0, 1, 2]))
COMPONENTS = Place(np.array([0, 1, 2]), np.array([1, 2, 2]))
RADIATORS = Place(np.array([1]), np.array([2]))
STACKED = np.array([[300.0, 310.0], [306.0, 318.0], [301.0, 311.0]])
PUMPS = np.array([[302.0, 312.0]])


def test_every_place_is_asked_for_once() -> None:
    """Of eight places five differ; the pump and the mean of the points follow."""
    found = sites(PASSAGES, COMPONENTS, RADIATORS)

    np.testing.assert_allclose(
        found.temperatures(STACKED, PUMPS)[:, 0],
        [300.0, 306.0, 301.0, 303.0, 303.5, 302.0, 907.0 / 3.0],
    )
    assert found.passages.tolist() == [0, 0, 1, 2]
    assert found.radiators.tolist() == found.components[[1]].tolist()


def test_coolant_is_that_of_the_own_place() -> None:
    """Properties handed out are those that each place has by itself."""
    found = sites(PASSAGES, COMPONENTS, RADIATORS)
    here = found.coolant(coolant.properties("water", 0.0, found.temperatures(STACKED, PUMPS)))

    asked = zip(
        (PASSAGES.temperature(STACKED), COMPONENTS.temperature(STACKED), PUMPS),
        here.liquid,
        strict=True,
    )
    for warmth, given in (*asked, (RADIATORS.temperature(STACKED), here.radiators)):
        for expected, actual in zip(coolant.properties("water", 0.0, warmth), given, strict=True):
            np.testing.assert_array_equal(actual, expected)
    mean = coolant.properties("water", 0.0, STACKED.mean(axis=0)).heat_capacity
    np.testing.assert_allclose(here.heat_capacity, mean, rtol=1e-15)
