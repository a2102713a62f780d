"""Sound levels: weighting, sums, speed, distance, and what a background hides.

Levels are in decibels; powers of ten of a tenth of them are proportional to energy.
Everything broadcasts; sums run over the first axis unless another is named.
"""

import numpy as np
from numpy.typing import ArrayLike, NDArray

LOWEST_OCTAVE = 6
"""Number of the octave band at 63 Hz; its mid-band frequency is 10**(3 number / 10). [-]"""

LOWEST_THIRD_OCTAVE = 17
"""Number of the third-octave band at 50 Hz; its mid-band frequency is 10**(number / 10). [-]"""

REFERENCE_DENSITY = 1.204
"""Density of air at 20 degC and 101325 Pa, that levels are stated at. [kg/m3]"""

FREE_OF_BACKGROUND = 15.0
"""Difference to the background from which on no correction is made. [dB]"""

LEAST_DIFFERENCE = 6.0
"""Difference to the background below which only an upper bound can be measured. [dB]"""


def octave_frequency(number: ArrayLike) -> NDArray[np.float64]:
    """Exact mid-band frequency of octave bands.

    Parameters
    ----------
    number : array_like
        Number of the band; 6 is the band at 63 Hz, 10 that at 1 kHz. [-]

    Returns
    -------
    ndarray
        Mid-band frequency. [Hz]

    Notes
    -----
    Base-ten system of [1]_, 1000 * 10**(0.3 (number - 10)).

    Validity
    --------
    Everywhere; a definition.

    References
    ----------
    .. [1] IEC 61260-1:2014, "Electroacoustics - Octave-band and fractional-octave-band
           filters."
    """
    frequency: NDArray[np.float64] = np.power(10.0, 0.3 * np.asarray(number, dtype=np.float64))
    return frequency


def third_octave_frequency(number: ArrayLike) -> NDArray[np.float64]:
    """Exact mid-band frequency of third-octave bands.

    Parameters
    ----------
    number : array_like
        Number of the band; 17 is the band at 50 Hz, 30 that at 1 kHz. [-]

    Returns
    -------
    ndarray
        Mid-band frequency. [Hz]

    Notes
    -----
    Base-ten system of [1]_, 10**(number / 10).

    Validity
    --------
    Everywhere; a definition.

    References
    ----------
    .. [1] IEC 61260-1:2014, "Electroacoustics - Octave-band and fractional-octave-band
           filters."
    """
    return octave_frequency(np.asarray(number, dtype=np.float64) / 3.0)


def a_weight(frequency: ArrayLike) -> NDArray[np.float64]:
    """A-weighting at a frequency.

    Parameters
    ----------
    frequency : array_like
        Frequency, the exact mid-band one for a band. [Hz]

    Returns
    -------
    ndarray
        What is added to a level to weight it. [dB]

    Notes
    -----
    Formula of [1]_ with the rounded pole frequencies that it prints. They give its table from
    10 Hz to 20 kHz to the printed tenth at exact mid-band frequencies; the unrounded ones miss
    the row of 160 Hz by 4e-5 dB.

    Validity
    --------
    10 Hz to 20 kHz. Outside, the formula goes on where the table ends.

    References
    ----------
    .. [1] IEC 61672-1:2013, "Electroacoustics - Sound level meters."
    """
    square = np.asarray(frequency, dtype=np.float64) ** 2
    gain = (12194.0**2 * square**2) / (
        (square + 20.60**2)
        * (square + 12194.0**2)
        * np.sqrt((square + 107.7**2) * (square + 737.9**2))
    )
    weight: NDArray[np.float64] = 20.0 * np.log10(gain) + 2.0
    return weight


def a_weighted_level(band_level: ArrayLike, frequency: ArrayLike) -> NDArray[np.float64]:
    """A-weighted level of a spectrum.

    Parameters
    ----------
    band_level : array_like, shape (bands, ...)
        Unweighted level of each band. [dB]
    frequency : array_like, shape (bands,)
        Exact mid-band frequency of each band. [Hz]

    Returns
    -------
    ndarray
        A-weighted level of all bands together. [dB]

    Notes
    -----
    Weights of `a_weight`, bands added in energy. The weight at mid-band stands for the
    whole band; with octaves that errs by up to about 1 dB for a steep spectrum.

    Validity
    --------
    Bands within 10 Hz to 20 kHz. Outside, as in `a_weight`.
    """
    level = np.asarray(band_level, dtype=np.float64)
    weight = a_weight(frequency)
    return level_sum(level + weight.reshape(weight.shape + (1,) * (level.ndim - 1)))


def level_sum(level: ArrayLike, axis: int = 0) -> NDArray[np.float64]:
    """Level of incoherent sources together.

    Parameters
    ----------
    level : array_like
        Level of each source. [dB]
    axis : int
        Axis of the sources. [-]

    Returns
    -------
    ndarray
        Level of all together. [dB]

    Notes
    -----
    10 lg of the sum of 10**(L / 10), as in [1]_. Tones of equal frequency may beat, by up to
    3 dB over this for two equal ones; that is left out.

    Validity
    --------
    Everywhere that sources are incoherent; nothing is checked.

    References
    ----------
    .. [1] ISO 3744:2010, "Acoustics - Determination of sound power levels using sound
           pressure - Engineering methods for an essentially free field."
    """
    given = np.asarray(level, dtype=np.float64)
    # Taken from the loudest, so that no power of ten overflows or vanishes.
    loudest = given.max(axis=axis, keepdims=True)
    energy = np.power(10.0, 0.1 * (given - loudest)).sum(axis=axis)
    total: NDArray[np.float64] = np.squeeze(loudest, axis=axis) + 10.0 * np.log10(energy)
    return total


def equal_sources(count: ArrayLike) -> NDArray[np.float64]:
    """Rise of the level of one source by equal ones beside it.

    Parameters
    ----------
    count : array_like
        Number of equal sources, one or more. [-]

    Returns
    -------
    ndarray
        10 lg of the number. [dB]

    Validity
    --------
    Everywhere that sources are incoherent and their count is positive; nothing is checked.
    """
    rise: NDArray[np.float64] = 10.0 * np.log10(np.asarray(count, dtype=np.float64))
    return rise


def speed_change(speed_ratio: ArrayLike, per_decade: ArrayLike) -> NDArray[np.float64]:
    """Change of the level of a fan or pump with its speed.

    Parameters
    ----------
    speed_ratio : array_like
        Speed over the speed of the known level, above zero. [-]
    per_decade : array_like
        Rise of the level for a tenfold speed. [dB]

    Returns
    -------
    ndarray
        What is added to the known level. [dB]

    Notes
    -----
    k lg(n / n0). For fans k = 50 follows from the fan laws and sound power as flow times
    pressure squared [1]_; A-weighted levels of small fans rise by 55, give or take 5, because
    the spectrum moves to where the weighting is kinder (common practice, no source). Pumps
    are between 30 and 50 (common practice, no source). Trusted for 0.3 to 1.5 times the speed.

    Validity
    --------
    0.3 to 1.5 times the speed. Outside, the law goes on; at rest it is minus infinity.

    References
    ----------
    .. [1] ASHRAE Handbook, HVAC Applications, "Noise and Vibration Control", fan sound power
           by flow and pressure (the edition from memory).
    """
    change: NDArray[np.float64] = np.asarray(per_decade, dtype=np.float64) * np.log10(
        np.asarray(speed_ratio, dtype=np.float64)
    )
    return change


def density_change(density: ArrayLike) -> NDArray[np.float64]:
    """Change of the level of a fan with the density of the air.

    Parameters
    ----------
    density : array_like
        Density of the air. [kg/m3]

    Returns
    -------
    ndarray
        What is added to the level at 1.204 kg/m3. [dB]

    Notes
    -----
    20 lg(rho / rho0) at the same speed, as the pressure of the fan squared. [1]_ has it.

    Validity
    --------
    Air at the same speed of the fan. Outside nothing is checked.

    References
    ----------
    .. [1] R. Madison, Fan Engineering, 5th edition, 1949 (from memory).
    """
    ratio = np.asarray(density, dtype=np.float64) / REFERENCE_DENSITY
    change: NDArray[np.float64] = 20.0 * np.log10(ratio)
    return change


def radiated_level(
    power_level: ArrayLike, distance: ArrayLike, directivity: ArrayLike
) -> NDArray[np.float64]:
    """Sound pressure level at a distance from a small source.

    Parameters
    ----------
    power_level : array_like
        Sound power level. [dB]
    distance : array_like
        Distance, above zero. [m]
    directivity : array_like
        1 in a free field, 2 over a floor, 4 between floor and wall. [-]

    Returns
    -------
    ndarray
        Sound pressure level. [dB]

    Notes
    -----
    L_W + 10 lg(Q / (4 pi r**2)) with r in metres [1]_; the printed -11, -8 and -5 at 1 m are
    this, rounded. Reflections of a room are left out.

    Validity
    --------
    From about twice the size of the source. Outside, closer, the level rises less than this
    says.

    References
    ----------
    .. [1] ISO 3744:2010, "Acoustics - Determination of sound power levels using sound
           pressure - Engineering methods for an essentially free field."
    """
    sphere = 4.0 * np.pi * np.asarray(distance, dtype=np.float64) ** 2
    spread: NDArray[np.float64] = 10.0 * np.log10(
        np.asarray(directivity, dtype=np.float64) / sphere
    )
    return np.asarray(power_level, dtype=np.float64) + spread


def background_correction(difference: ArrayLike) -> NDArray[np.float64]:
    """Correction of a measured level for the background.

    Parameters
    ----------
    difference : array_like
        Level with the machine running minus that of the background. [dB]

    Returns
    -------
    ndarray
        What is subtracted from the measured level. [dB]

    Notes
    -----
    K1 = -10 lg(1 - 10**(-D / 10)) for D between 6 dB and 15 dB; nothing above, and below the
    1.26 dB that belong to 6 dB, when what is left is an upper bound only [1]_, [2]_.

    Validity
    --------
    Differences of 6 dB to 15 dB. Outside, nothing is corrected above, and below the correction
    is held at 1.26 dB.

    References
    ----------
    .. [1] ISO 3744:2010, 8.2.3 (the number of the clause from memory).
    .. [2] ECMA TR/107, 3rd edition.
    """
    given = np.asarray(difference, dtype=np.float64)
    held = np.clip(given, LEAST_DIFFERENCE, None)
    correction: NDArray[np.float64] = -10.0 * np.log10(1.0 - np.power(10.0, -0.1 * held))
    return np.where(given >= FREE_OF_BACKGROUND, 0.0, correction)
