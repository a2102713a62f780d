"""Linear systems in time against scipy, against closed forms, and by what must hold."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp
from scipy.linalg import expm

from loopmargin_service.physics.network import Array
from loopmargin_service.physics.transient import first_times, read, trace, transition

SIZE = 5


def plant(seed: int, batch: int = 3) -> Array:
    """Draw systems of stores that leak into each other and into the room, with sources."""
    draw = np.random.default_rng(seed)
    rate = np.zeros((batch, SIZE + 1, SIZE + 1))
    rate[:, :SIZE, :SIZE] = 10.0 ** draw.uniform(-4.0, 0.5, (batch, SIZE, SIZE))
    rate[:, :SIZE, -1] = draw.uniform(0.0, 2.0, (batch, SIZE))
    number = np.arange(SIZE)
    rate[:, number, number] = 0.0
    leak = 10.0 ** draw.uniform(-4.0, -1.0, (batch, SIZE))
    rate[:, number, number] = -rate[:, :SIZE, :SIZE].sum(axis=2) - leak
    return rate


def cold(batch: int) -> Array:
    """Give the state of a machine as warm as the room."""
    state = np.zeros((batch, SIZE + 1))
    state[:, -1] = 1.0
    return state


def one_store(capacity: float, conductance: float, power: float) -> Array:
    """Give the rate matrix of one store."""
    return np.array([[[-conductance / capacity, power / capacity], [0.0, 0.0]]])


@pytest.mark.parametrize("duration", [0.0, 1e-3, 1.0, 100.0, 1e5])
def test_transition_is_the_matrix_exponential(duration: float) -> None:
    """As scipy 1.17.1 `linalg.expm`, from an instant to a day."""
    rate = plant(7)

    actual = transition(rate, np.full(3, duration))

    for one, matrix in zip(actual, rate, strict=True):
        expected = expm(matrix * duration)
        assert one == pytest.approx(expected, rel=1e-7, abs=1e-9 * np.abs(expected).max())


@pytest.mark.parametrize("seed", range(4))
def test_trace_agrees_with_an_integrator(seed: int) -> None:
    """Steps of time of scipy 1.17.1 `solve_ivp` (Radau, tight) end at the same states."""
    rate = plant(seed, batch=1)

    states = trace(rate, cold(1), np.array([10.0]), 30)

    def change(_time: float, state: Array) -> Array:
        return np.asarray(rate[0] @ state)

    times = np.arange(31) * 10.0
    found = solve_ivp(change, (0.0, 300.0), cold(1)[0], "Radau", t_eval=times, rtol=1e-9, atol=1e-9)
    assert states[0] == pytest.approx(found.y.T, rel=1e-6, abs=1e-6)


def test_a_step_twice_is_a_double_step() -> None:
    """exp(A t) exp(A t) = exp(2 A t)."""
    rate = plant(3)
    once = transition(rate, np.full(3, 40.0))

    assert once @ once == pytest.approx(transition(rate, np.full(3, 80.0)), rel=1e-9)


@given(seed=st.integers(0, 10_000), duration=st.floats(0.01, 1e5))
def test_nothing_becomes_negative_and_cold_starts_only_rise(seed: int, duration: float) -> None:
    """Stores that exchange heat never cross, and without a cooler one nothing cools."""
    rate = plant(seed)
    states = trace(rate, cold(3), np.full(3, duration / 20.0), 20)

    assert (transition(rate, np.full(3, duration)) >= 0.0).all()
    assert (np.diff(states, axis=1) >= -1e-9 * states.max()).all()


def test_cases_do_not_disturb_each_other() -> None:
    """A case alone has the digits that it has among others, of very different speed."""
    rate = plant(5)
    rate[1] *= 1e4
    together = transition(rate, np.full(3, 50.0))

    alone = transition(rate[:1], np.full(1, 50.0))

    assert together[0] == pytest.approx(alone[0], rel=1e-8)


@pytest.mark.parametrize("share", [0.5, 0.95, 0.99, 0.9999])
def test_time_to_a_share_is_its_logarithm(share: float) -> None:
    """One store reaches a share of its rise after -ln(1 - share) time constants."""
    rate = one_store(4500.0, 30.0, 300.0)
    limits = np.array([[share * 10.0]])

    times, reached = first_times(
        rate, np.array([[0.0, 1.0]]), np.array([[[1.0, 0.0]]]), limits, np.array([3600.0])
    )

    assert reached.all()
    assert times[0, 0] == pytest.approx(-150.0 * np.log1p(-share), abs=1e-3)


@pytest.mark.parametrize("cell", [0.001, 0.3, 0.999, 1.001, 1.5, 255.5])
def test_time_inside_the_first_and_the_last_cells(cell: float) -> None:
    """A store without losses is at its limit after limit times capacity over power."""
    horizon = 2560.0
    time = cell * horizon / 256.0

    times, reached = first_times(
        one_store(100.0, 0.0, 50.0),
        np.array([[0.0, 1.0]]),
        np.array([[[1.0, 0.0]]]),
        np.array([[0.5 * time]]),
        np.array([horizon]),
    )

    assert reached.all()
    assert times[0, 0] == pytest.approx(time, abs=horizon / 256.0 * 2.0**-23)


def test_limits_passed_reached_never_and_at_the_end() -> None:
    """A limit below the start takes no time; one above the end is not reached."""
    rate = one_store(100.0, 0.0, 50.0)
    rows = np.tile([[[1.0, 10.0]]], (1, 4, 1))

    times, reached = first_times(
        rate,
        np.array([[0.0, 1.0]]),
        rows,
        np.array([[9.0, 10.0, 20.0, 70.1]]),
        np.array([120.0]),
    )

    assert reached.tolist() == [[True, True, True, False]]
    assert times[0] == pytest.approx([0.0, 0.0, 20.0, 120.0], abs=1e-4)


def test_times_are_where_the_trace_has_the_limit() -> None:
    """A state carried to the time found reads the limit."""
    rate = plant(11)
    rows = np.tile(np.eye(SIZE + 1)[None, :SIZE], (3, 1, 1))
    later = transition(rate, np.full(3, 37.0)) @ cold(3)[:, :, None]
    limits = read(rows, later[:, :, 0])

    times, reached = first_times(rate, cold(3), rows, limits, np.full(3, 1000.0))

    assert reached.all()
    assert times == pytest.approx(np.full((3, SIZE), 37.0), abs=1e-3)
