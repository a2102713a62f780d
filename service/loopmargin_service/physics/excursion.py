"""Short peaks of power: what cards may draw and what supplies are declared to give.

A window is a length of time over which power is averaged; the excursion factor of a card
is its highest mean over any window of that length, divided by its sustained power. The
allowance of a supply is the power it is tested to give for that long, divided by its
rating. Left out: energy from capacitors between supply and load, and the shape of a peak.
"""

import numpy as np
from numpy.typing import ArrayLike, NDArray

WINDOWS = (100e-6, 1e-3, 10e-3, 100e-3, 1.0, np.inf)
"""Windows that demand and capacity are compared over, the last one without end. [s]"""

LONGEST_PROCESSOR_PEAK = 10e-3
"""Longest window that a processor's peak current is defined for. [s]"""

UPPER_COLUMN = (2.00, 1.80, 1.60, 1.20)
"""Allowance for 0.1, 1, 10 and 100 ms: above 450 W with a high-power card connector. [-]"""

LOWER_COLUMN = (1.50, 1.45, 1.35, 1.10)
"""Allowance for 0.1, 1, 10 and 100 ms of all other supplies. [-]"""

NO_ALLOWANCE = (1.0, 1.0, 1.0, 1.0)
"""Allowance of a supply that is never to exceed its rating. [-]"""

TEST_DUTY = (0.05, 0.08, 0.125, 0.25)
"""Share of time at the excursion in the test of a supply, for 0.1, 1, 10 and 100 ms. [-]"""

UPPER_COLUMN_ABOVE = 450.0
"""Rating above which the upper column can apply. [W]"""

LARGEST_CARD = 675.0
"""Largest sustained power of one add-in card. [W]"""

# A window that was computed must not miss its row by a rounding error.
_ROUNDING = 1.0 + 1e-9
_STEPS = np.array(WINDOWS[:4]) * _ROUNDING


def card_factor(window: ArrayLike) -> NDArray[np.float64]:
    """Excursion factor that the add-in-card limit allows over a window.

    Parameters
    ----------
    window : array_like
        Length of the window, above zero; infinity is allowed. [s]

    Returns
    -------
    ndarray
        Highest mean power over any such window, over sustained power. [-]

    Notes
    -----
    Straight in the logarithm of time: 1 - 0.5 log10(T / 1 s) between 100 us and 1 s, held
    at 3 below and at 1 above. The values 3 at 100 us, 2 at 10 ms and 1 at 1 s are reported
    of [1]_, which is open to members only; that a straight line joins them is from memory.
    Stated for cards of 300 to 600 W on the high-power connector. Before that revision no
    excursion was allowed, and cards exceeded their limits nevertheless [2]_.

    Validity
    --------
    100 us to 1 s, cards of 300 to 600 W on the high-power connector. Outside, the factor is
    held at 3 and at 1.

    References
    ----------
    .. [1] PCI-SIG, PCI Express Card Electromechanical Specification, revision 5.0, 2021.
    .. [2] Document 336521, ATX Version 3.0 Multi Rail Desktop Platform Power Supply Design
           Guide, revision 2.01, Feb. 2023, chapter 3.
    """
    clipped = np.clip(np.asarray(window, dtype=np.float64), 1e-4, 1.0)
    return np.asarray(1.0 - 0.5 * np.log10(clipped))


def processor_factor(window: ArrayLike, peak_over_sustained: ArrayLike) -> NDArray[np.float64]:
    """Excursion factor of a processor over a window.

    Parameters
    ----------
    window : array_like
        Length of the window, above zero; infinity is allowed. [s]
    peak_over_sustained : array_like
        Peak over sustained power, broadcast with *window*. [-]

    Returns
    -------
    ndarray
        The peak up to `LONGEST_PROCESSOR_PEAK`, 1 beyond. [-]

    Notes
    -----
    A processor's peak current is defined for 10 ms at most, and anything beyond a second
    counts as continuous [1]_; the peak is not carried on into windows of 100 ms.

    Validity
    --------
    Windows up to 10 ms and from 1 s, as the guide defines them. Outside, between these, no
    excursion is counted.

    References
    ----------
    .. [1] Document 336521, ATX Version 3.0 Multi Rail Desktop Platform Power Supply Design
           Guide, revision 2.0, Feb. 2022, Table 2-1, notes 2 and 3.
    """
    longest = LONGEST_PROCESSOR_PEAK * _ROUNDING
    return np.where(np.asarray(window, dtype=np.float64) <= longest, peak_over_sustained, 1.0)


def measured_factor(factor: ArrayLike) -> NDArray[np.float64]:
    """Excursion factors as measured, none below that of a longer window.

    Parameters
    ----------
    factor : array_like, shape (windows, ...)
        Measured highest mean over each window, shortest first, over sustained power. [-]

    Returns
    -------
    ndarray, shape (windows, ...)
        The same, raised where a longer window was measured higher. [-]

    Notes
    -----
    The mean over a window is the mean of its equal parts, and one of these is at least as
    high; so the highest mean over T is at least that over n T.

    Validity
    --------
    Everywhere that factors are positive; nothing is checked.
    """
    reversed_factor = np.flip(np.asarray(factor, dtype=np.float64), axis=0)
    return np.flip(np.maximum.accumulate(reversed_factor, axis=0), axis=0)


def allowance(window: ArrayLike, column: ArrayLike) -> NDArray[np.float64]:
    """Power that a supply may give over a window, over its rating.

    Parameters
    ----------
    window : array_like
        Length of the excursion, above zero; infinity is allowed. [s]
    column : array_like, shape (4,)
        Allowance for 0.1, 1, 10 and 100 ms. [-]

    Returns
    -------
    ndarray
        Allowance of the shortest tabulated excursion that is no shorter; 1 beyond. [-]

    Notes
    -----
    Table 3-3 of [1]_. The guide gives no values between its rows, so this is a staircase
    on the safe side. The table holds for supplies that do not report their load to the
    board, and its values follow from the guide's own budgets of processor, card and rest.

    Validity
    --------
    The durations of the table, 100 us to 100 ms. Outside, shorter ones have the first row's
    allowance, longer ones none.

    References
    ----------
    .. [1] Document 613768, ATX12VO (12V Only) Desktop Power Supply Design Guide, revision
           2.01, Jan. 2023, Table 3-3.
    """
    steps = np.append(np.asarray(column, dtype=np.float64), 1.0)
    row = np.searchsorted(_STEPS, np.asarray(window, dtype=np.float64))
    return np.asarray(steps[row])


def recovery_level(allowance_factor: ArrayLike, duty: ArrayLike) -> NDArray[np.float64]:
    """Level between excursions that keeps the RMS power of a supply at its rating.

    Parameters
    ----------
    allowance_factor : array_like
        Power during the excursion over rated power, at least 1. [-]
    duty : array_like
        Share of time at the excursion, below one over the square of the factor. [-]

    Returns
    -------
    ndarray
        Power between excursions over rated power; zero where the duty is too long. [-]

    Notes
    -----
    sqrt((1 - D k^2) / (1 - D)). The relation is inferred: [1]_ prints no formula, but its
    example of a 1000 W supply comes out to the last digit.

    Validity
    --------
    D k^2 up to 1. Outside, the level is zero, and the RMS power is above the rating.

    References
    ----------
    .. [1] Document 613768, ATX12VO (12V Only) Desktop Power Supply Design Guide, revision
           2.01, Jan. 2023, Table 3-4.
    """
    k, d = np.asarray(allowance_factor, dtype=np.float64), np.asarray(duty, dtype=np.float64)
    return np.sqrt(np.maximum(1.0 - d * k**2, 0.0) / (1.0 - d))
