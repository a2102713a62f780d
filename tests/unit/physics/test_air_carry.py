"""Carrying air: how bore, slope, viscosity and surface tension act."""

import numpy as np
import pytest
from scipy.constants import g as gravity

from loopmargin_service.physics.air_carry import slug_rise_velocity, velocity_to_clear_pockets

BORE = np.array([0.006, 0.008, 0.010, 0.0127, 0.016, 0.025])


def test_wider_and_steeper_tubes_need_more_flow() -> None:
    """The clearing velocity rises with the bore and with the fall of the tube."""
    velocity = velocity_to_clear_pockets(BORE[:, None], np.linspace(0.0, 0.5 * np.pi, 7))

    assert (np.diff(velocity, axis=0) > 0.0).all()
    assert (np.diff(velocity, axis=1) > 0.0).all()


def test_clearing_goes_with_the_root_of_the_bore() -> None:
    """Four times the bore needs twice the velocity."""
    narrow, wide = velocity_to_clear_pockets(np.array([0.008, 0.032]), 0.3)

    assert wide == pytest.approx(2.0 * narrow)


def test_pockets_need_more_flow_than_slugs_rise() -> None:
    """In water the velocity that clears a falling tube exceeds the rise of a slug in it."""
    slug = slug_rise_velocity(BORE, 997.05, 8.9e-4, 0.072)

    assert (velocity_to_clear_pockets(BORE, 0.5 * np.pi) > slug).all()


def test_thick_coolant_and_strong_surfaces_hold_a_slug_back() -> None:
    """A slug rises more slowly at more viscosity and at more surface tension."""
    thicker = slug_rise_velocity(0.016, 1000.0, np.logspace(-3.0, 0.0, 10), 0.072)
    tighter = slug_rise_velocity(0.016, 1000.0, 1e-3, np.linspace(0.03, 0.08, 10))

    assert (np.diff(thicker) < 0.0).all()
    assert (np.diff(tighter) < 0.0).all()


def test_a_slug_in_a_fine_tube_stands_still() -> None:
    """Up to 5 mm in water the rise is under a twentieth of the root of g times bore."""
    bore = np.array([0.002, 0.003, 0.004, 0.005])

    rise = slug_rise_velocity(bore, 997.05, 8.9e-4, 0.072)

    assert (rise < 0.05 * np.sqrt(gravity * bore)).all()
