"""Parallel contacts of a power connector: how they share a current, and what they may carry.

Each live wire with its two contacts is one resistance between two solid nodes; the return
side is a second network of the same kind. Left out: inductance, which shares fast edges,
and the change of resistance as contacts warm up.

Arrays of contacts have the contact as first axis and may carry a batch behind it. A contact
of infinite resistance carries nothing, so connectors of unequal size fit into one array.
"""

from typing import Final, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

RISE_AT_RATING = 30.0
"""Rise of a contact at rated current with all contacts loaded. [K]"""

LARGEST_RISE = 100.0
"""Rise above which the square law no longer says how hot a contact gets. [K]"""


class Rating(NamedTuple):
    """What a trade-standard connector may carry.

    Attributes
    ----------
    pin : float
        Current of one contact with all contacts loaded. [A]
    power : float
        Mean power over any one second. [W]
    rms_current : float
        RMS current over any one second. [A]
    """

    pin: float
    power: float
    rms_current: float


# Powers and RMS currents: [1] of `hottest_rise`, Table 3-5. Contacts: 9.2 A and 8 A there
# in chapter 5; the 7 A of the eight-pin card connector is from memory.
CARD_RATINGS: Final = {
    "twelve_contact": Rating(9.2, 600.0, 55.0),
    "card_eight_pin": Rating(7.0, 150.0, 13.5),
    "card_six_pin": Rating(8.0, 75.0, 6.75),
}


def shares(resistance: ArrayLike) -> NDArray[np.float64]:
    """Share of the current that each parallel branch takes.

    Parameters
    ----------
    resistance : array_like, shape (contacts, ...)
        Resistance of wire and contacts of each branch, above zero; infinite if open. [ohm]

    Returns
    -------
    ndarray, shape (contacts, ...)
        Shares that add up to one along the first axis. [-]

    Notes
    -----
    Conductances in parallel. The branch of least resistance takes most: a good contact
    among worn ones is the one that overheats.

    Validity
    --------
    Everywhere that resistances are positive; nothing is checked.
    """
    conductance = 1.0 / np.asarray(resistance, dtype=np.float64)
    return np.asarray(conductance / conductance.sum(axis=0))


def parallel_resistance(resistance: ArrayLike) -> NDArray[np.float64]:
    """Resistance of all branches together.

    Parameters
    ----------
    resistance : array_like, shape (contacts, ...)
        Resistance of each branch, above zero; infinite if open. [ohm]

    Returns
    -------
    ndarray
        Voltage drop, one way, over total current. [ohm]

    Validity
    --------
    Everywhere that resistances are positive; nothing is checked.
    """
    return np.asarray(1.0 / (1.0 / np.asarray(resistance, dtype=np.float64)).sum(axis=0))


def branch_spread_allowed(
    pin_rating: ArrayLike, current: ArrayLike, contacts: ArrayLike
) -> NDArray[np.float64]:
    """Spread of branch resistance at which the hottest contact just reaches its rating.

    Parameters
    ----------
    pin_rating : array_like
        Rated current of one contact. [A]
    current : array_like
        Current of the whole connector, above zero, broadcast with *pin_rating*. [A]
    contacts : array_like
        Number of live contacts, broadcast with *pin_rating*. [-]

    Returns
    -------
    ndarray
        Largest over smallest resistance; infinite if one contact could carry all. [-]

    Notes
    -----
    The worst case: one branch of the smallest resistance, all others of the largest. Below
    one, not even equal branches keep the contacts within rating.

    Validity
    --------
    Two contacts or more. Outside, below one, the spread says that even equal branches are too
    much.
    """
    share = np.asarray(pin_rating, dtype=np.float64) / np.asarray(current, dtype=np.float64)
    others = np.asarray(contacts, dtype=np.float64) - 1.0
    room = np.where(share < 1.0, 1.0 - share, 1.0)
    return np.where(share < 1.0, share * others / room, np.inf)


def rms_over_mean(peak_over_mean: ArrayLike, duty: ArrayLike) -> NDArray[np.float64]:
    """RMS over mean of a current that alternates between two levels.

    Parameters
    ----------
    peak_over_mean : array_like
        Upper level over the mean, at least 1. [-]
    duty : array_like
        Share of time at the upper level, at most one over *peak_over_mean*. [-]

    Returns
    -------
    ndarray
        RMS over mean, at least 1. [-]

    Notes
    -----
    sqrt(1 + (k - 1)^2 D / (1 - D)), with the lower level such that the mean is kept.

    Validity
    --------
    Ratios from 1, shares of time from 0 to below 1. Outside nothing is checked.
    """
    k, d = np.asarray(peak_over_mean, dtype=np.float64), np.asarray(duty, dtype=np.float64)
    return np.asarray(np.sqrt(1.0 + (k - 1.0) ** 2 * d / (1.0 - d)))


def duty_allowed(
    peak_over_mean: ArrayLike, mean_current: ArrayLike, rms_limit: ArrayLike
) -> NDArray[np.float64]:
    """Longest share of time at the peak that keeps the RMS current within its limit.

    Parameters
    ----------
    peak_over_mean : array_like
        Upper level over the mean, at least 1. [-]
    mean_current : array_like
        Mean current, above zero. [A]
    rms_limit : array_like
        Largest RMS current. [A]

    Returns
    -------
    ndarray
        Share of time; zero where the mean itself is too much, one where no peak is. [-]

    Notes
    -----
    The inverse of `rms_over_mean`: D = c / (c + (k - 1)^2), c = (limit / mean)^2 - 1. The
    lower level may come out below zero at a long duty; that is not checked here.

    Validity
    --------
    Ratios from 1 and positive currents. Outside, a mean over the limit gives no time at all.
    """
    ratio = np.asarray(rms_limit, dtype=np.float64) / np.asarray(mean_current, dtype=np.float64)
    room = np.maximum(ratio**2 - 1.0, 0.0)
    swing = (np.asarray(peak_over_mean, dtype=np.float64) - 1.0) ** 2
    total = room + swing
    return np.where(total > 0.0, room / np.where(total > 0.0, total, 1.0), 1.0)


def contact_rise(current: ArrayLike, pin_rating: ArrayLike) -> NDArray[np.float64]:
    """Rise of a contact over the air around it.

    Parameters
    ----------
    current : array_like
        RMS current of the contact. [A]
    pin_rating : array_like
        Current at which all loaded contacts rise by 30 K. [A]

    Returns
    -------
    ndarray
        Temperature rise. [K]

    Notes
    -----
    The rating of [1]_ is for a rise of 30 K; the square law between current and rise is
    common practice (measured exponents run from 1.8 to 2), and no guide beyond
    `LARGEST_RISE`.

    Validity
    --------
    Up to a rise of `LARGEST_RISE`. Outside, the square law goes on and is no guide.

    References
    ----------
    .. [1] Document 336521, ATX Version 3.0 Multi Rail Desktop Platform Power Supply Design
           Guide, revision 2.01, Feb. 2023, section 5.2.2.4 and Table 3-5.
    """
    load = np.asarray(current, dtype=np.float64) / np.asarray(pin_rating, dtype=np.float64)
    return np.asarray(RISE_AT_RATING * load**2)
