"""Linear systems in time, solved without time steps by the matrix exponential.

A state ends with a one, so that dx/dt = A x + b is one matrix with b as its last column and
zeros as its last row. Arrays of states and matrices begin with the batch axis.
"""

import numpy as np
from numpy.typing import NDArray

from loopmargin_service.physics.network import Array

# With arguments below a half, fifteen terms of the series leave less than rounding does.
SERIES_TERMS = 15
HALF = 0.5
# Cells that a time is looked for in, and halvings inside the cell found.
CELLS = 256
HALVINGS = 24


def read(rows: Array, state: Array) -> Array:
    """Read rises (batch, rows) off states (batch, n). [K]"""
    return np.asarray(np.einsum("brn,bn->br", rows, state))


def transition(rate: Array, duration: Array) -> Array:
    """
    Give the matrix that carries a state over a time.

    Parameters
    ----------
    rate : ndarray
        Rate matrices, (batch, n, n). [1/s]
    duration : ndarray
        Time, (batch,). [s]

    Returns
    -------
    ndarray
        exp(rate * duration), (batch, n, n). [-]

    Notes
    -----
    Scaling and squaring of the power series [1]_. The diagonal is shifted until no entry
    is negative, which leaves a series of positive terms: nothing cancels.

    References
    ----------
    .. [1] C. Moler and C. Van Loan, "Nineteen dubious ways to compute the exponential of a
           matrix, twenty-five years later," SIAM Review 45(1), 2003, methods 1 and 3.
    """
    whole = rate * duration[:, None, None]
    unit = np.eye(rate.shape[1])
    shift = np.maximum(-np.diagonal(whole, axis1=1, axis2=2).min(axis=1), 0.0)
    positive = whole + shift[:, None, None] * unit
    size = float(np.abs(positive).sum(axis=1).max(initial=0.0))
    squarings = max(int(np.ceil(np.log2(max(size, HALF) / HALF))), 0)
    scale = 2.0**-squarings
    scaled = positive * scale
    result = np.broadcast_to(unit, whole.shape)
    for term in range(SERIES_TERMS, 0, -1):
        result = unit + scaled @ result / term
    result = result * np.exp(-shift * scale)[:, None, None]
    for _ in range(squarings):
        result = result @ result
    return np.asarray(result)


def trace(rate: Array, start: Array, step: Array, count: int) -> Array:
    """
    Follow states at equal steps of time.

    Parameters
    ----------
    rate : ndarray
        Rate matrices, (batch, n, n). [1/s]
    start : ndarray
        First states, (batch, n). [K]
    step : ndarray
        Step of each case, (batch,). [s]
    count : int
        Number of steps. [-]

    Returns
    -------
    ndarray
        States with the first, (batch, count + 1, n). [K]
    """
    carry = transition(rate, step)
    states = np.empty((start.shape[0], count + 1, start.shape[1]))
    states[:, 0] = start
    for number in range(count):
        states[:, number + 1] = np.einsum("bij,bj->bi", carry, states[:, number])
    return states


def first_times(
    rate: Array, start: Array, rows: Array, limits: Array, horizon: Array
) -> tuple[Array, NDArray[np.bool_]]:
    """
    Find when readings first reach their limits.

    Parameters
    ----------
    rate : ndarray
        Rate matrices, (batch, n, n). [1/s]
    start : ndarray
        First states, (batch, n). [K]
    rows : ndarray
        How each reading is read off a state, (batch, rows, n). [-]
    limits : ndarray
        Limit of each reading, (batch, rows). [K]
    horizon : ndarray
        How long each case is followed, (batch,). [s]

    Returns
    -------
    times : ndarray
        Times, (batch, rows); the horizon where a limit is not reached. [s]
    reached : ndarray
        Whether each limit is reached, (batch, rows). [-]

    Notes
    -----
    A reading that exceeds its limit only inside one of 256 cells of the horizon, and not
    at its ends, is missed; readings that only rise are always found. The time is halved
    down inside its cell to 2**-24 of the cell.
    """
    step = horizon / CELLS
    states = trace(rate, start, step, CELLS)
    above = np.einsum("brn,bcn->brc", rows, states) >= limits[:, :, None]
    reached = above.any(axis=2)
    cell = np.maximum(above.argmax(axis=2) - 1, 0)
    now = np.take_along_axis(states, cell[:, :, None], axis=1)
    times = cell * step[:, None]
    for halving, carry in enumerate(_halvings(rate, step), start=1):
        part = step * 2.0**-halving
        later = np.einsum("bij,brj->bri", carry, now)
        below = np.einsum("brn,brn->br", rows, later) < limits
        now = np.where(below[:, :, None], later, now)
        times = times + below * part[:, None]
    at_once = np.einsum("brn,bn->br", rows, start) >= limits
    times = np.where(at_once, 0.0, times)
    return np.where(reached, times, horizon[:, None]), reached


def _halvings(rate: Array, step: Array) -> list[Array]:
    """Give the matrices for a half of a step, a quarter and so on, by squaring the last."""
    carries = [transition(rate, step * 2.0**-HALVINGS)]
    while len(carries) < HALVINGS:
        carries.append(carries[-1] @ carries[-1])
    return carries[::-1]
