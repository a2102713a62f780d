"""Losses of fittings: limits of the geometry, and what each part of a loss stands for."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from loopmargin_service.physics import fitting

RIGHT_ANGLE = 0.5 * np.pi


def test_a_bend_of_no_angle_is_no_bend() -> None:
    """Nothing is lost where nothing turns."""
    np.testing.assert_array_equal(fitting.bend(0.0, 3.0), 0.0)


def test_a_bend_holds_its_own_length_of_pipe() -> None:
    """The friction length of a bend exceeds the length of its arc over the bore."""
    angle, radius = np.meshgrid(np.linspace(0.1, np.pi, 12), np.linspace(0.6, 10.0, 12))

    loss = fitting.bend(angle, radius)

    assert (loss.friction_length > angle * radius).all()
    assert (loss.viscous == 0.0).all()


def test_a_wide_sweep_loses_less_than_a_tight_one() -> None:
    """At the friction of Re 1e4 a sweep of two bores loses less than one of one bore."""
    tight, wide = (fitting.bend(RIGHT_ANGLE, radius) for radius in (1.0, 2.0))

    difference = [one - other for one, other in zip(tight, wide, strict=True)]

    assert difference[1] + 0.031 * difference[2] > 0.0


@settings(deadline=None)
@given(
    angle=st.floats(0.01, 2.6),
    bore=st.floats(0.002, 0.05),
    tube=st.floats(0.002, 0.05),
)
def test_every_part_of_an_adapter_loss_is_positive(angle: float, bore: float, tube: float) -> None:
    """A turning adapter always loses, whichever of the two bores is the wider."""
    loss = fitting.adapter(angle, bore, tube)

    assert loss.viscous > 0.0
    assert loss.inertial > 0.0
    assert loss.friction_length == 0.0


def test_a_straight_adapter_as_wide_as_the_tube_is_lossless() -> None:
    """Without a turn and without a step there is no loss."""
    np.testing.assert_array_equal(fitting.adapter(0.0, 0.010, 0.010), 0.0)


def test_steps_and_turn_of_an_adapter_add_up() -> None:
    """An elbow adapter loses the turn of one without steps and the steps of a straight one."""
    both = fitting.adapter(RIGHT_ANGLE, 0.009, 0.0127)
    turn = fitting.adapter(RIGHT_ANGLE, 0.009, 0.009)
    steps = fitting.adapter(0.0, 0.009, 0.0127)

    assert both.inertial == pytest.approx(turn.inertial + steps.inertial, rel=1e-12)


def test_steps_cost_the_same_pressure_from_either_side() -> None:
    """A narrow bore between wide ones and a wide one between narrow ones step alike.

    Both have one contraction and one expansion between the same two bores, so at one flow
    they cost one pressure; on its own velocity, each has its own coefficient.
    """
    narrow_adapter = fitting.adapter(0.0, 0.009, 0.0127).inertial
    wide_adapter = fitting.adapter(0.0, 0.0127, 0.009).inertial

    assert wide_adapter / 0.0127**4 == pytest.approx(narrow_adapter / 0.009**4, rel=1e-12)


def test_the_laminar_part_of_a_turn_goes_with_its_angle() -> None:
    """1000 / Re at 90 degrees and 500 / Re at 45 degrees, as both tables print."""
    loss = fitting.adapter(np.radians([90.0, 45.0]), 0.010, 0.010)

    np.testing.assert_allclose(loss.viscous, [1000.0, 500.0])


def test_the_branch_of_a_tee_loses_more_than_its_run() -> None:
    """Round the corner is dearer than straight through, at every bore."""
    bore = np.linspace(0.004, 0.025, 8)

    run, branch = fitting.tee("run", bore), fitting.tee("branch", bore)

    assert (branch.inertial > run.inertial).all()
    assert (branch.viscous > run.viscous).all()
    assert (np.diff(run.inertial) < 0.0).all()


def test_entrance_and_exit_lose_one_and_a_half_velocity_heads() -> None:
    """A tube between two tanks loses half a velocity head going in and one coming out."""
    total = np.add(fitting.entrance(), fitting.exit())

    np.testing.assert_array_equal(total, [0.0, 1.5, 0.0])
