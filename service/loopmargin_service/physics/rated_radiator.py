"""A radiator known by one rated point, carried to other flows.

The rated conductance gives UA exactly; UA is divided into an air and a liquid resistance,
and each is scaled by a power of its mass flow. The air side of a louvred fin has an exponent
of about 0.5, the laminar coolant of about 0.15; the larger exponents of building services
do not fit these cores. SI throughout.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from loopmargin_service.physics.exchanger import (
    NTU_MAX,
    effectiveness_crossflow_unmixed,
    ntu_crossflow_unmixed,
)

POSSIBLE_SHARE = 0.9999
"""Largest rated conductance over the largest that the streams can carry. [-]"""

_SLOWEST = 1e-9


@dataclass(frozen=True)
class Rating:
    """One rated point, and how the radiator departs from it; numbers or arrays of one shape.

    `conductance` is on the two entering temperatures [W/K], the capacity rates are those at
    rating [W/K], the flows are mass flows at rating [kg/s]. `air_share` is the air-side share
    of the thermal resistance at rating [-], the exponents are those of conductance on the
    mass flow of each side [-].
    """

    conductance: ArrayLike
    air_capacity: ArrayLike
    liquid_capacity: ArrayLike
    air_flow: ArrayLike
    liquid_flow: ArrayLike
    air_share: ArrayLike = 0.75
    air_exponent: ArrayLike = 0.5
    liquid_exponent: ArrayLike = 0.15


def rated_ua(rating: Rating) -> NDArray[np.float64]:
    """Conductance between the mean streams at rating.

    Parameters
    ----------
    rating : Rating
        The rated point. [SI]

    Returns
    -------
    ndarray
        Conductance UA. [W/K]

    Notes
    -----
    Exact inverse of a crossflow exchanger with both streams unmixed, single pass. A rating
    that is not possible gives UA at `exchanger.NTU_MAX`; see `rating_possible`.

    Validity
    --------
    Ratings that `rating_possible` accepts. Outside, UA is that at `exchanger.NTU_MAX`.
    """
    weaker, ratio = _streams(rating)
    effectiveness = np.asarray(rating.conductance, dtype=np.float64) / weaker
    return weaker * ntu_crossflow_unmixed(effectiveness, ratio)


def rating_possible(rating: Rating) -> NDArray[np.bool_]:
    """Whether the streams of a rating can carry its conductance.

    Parameters
    ----------
    rating : Rating
        The rated point. [SI]

    Returns
    -------
    ndarray of bool
        True where some radiator could do it. [-]

    Notes
    -----
    The limit is that of 30 transfer units, `exchanger.NTU_MAX`, times `POSSIBLE_SHARE`; it is
    below the smaller capacity rate.

    Validity
    --------
    Everywhere that flows are positive; nothing is checked.
    """
    weaker, ratio = _streams(rating)
    most = POSSIBLE_SHARE * weaker * effectiveness_crossflow_unmixed(NTU_MAX, ratio)
    conductance = np.asarray(rating.conductance, dtype=np.float64)
    possible: NDArray[np.bool_] = (conductance > 0.0) & (conductance < most)
    return possible


def scaled_ua(
    rating: Rating,
    ua: ArrayLike,
    air_flow: ArrayLike,
    liquid_flow: ArrayLike,
    conductivity_ratio: ArrayLike = 1.0,
) -> NDArray[np.float64]:
    """Conductance between the mean streams at other flows and with another coolant.

    Parameters
    ----------
    rating : Rating
        The rated point. [SI]
    ua : array_like
        Conductance at rating, from `rated_ua`. [W/K]
    air_flow : array_like
        Mass flow of the air, broadcast with *ua*. [kg/s]
    liquid_flow : array_like
        Mass flow of the coolant, broadcast with *ua*. [kg/s]
    conductivity_ratio : array_like
        Thermal conductivity of the coolant over that at rating, broadcast with *ua*. [-]

    Returns
    -------
    ndarray
        Conductance UA. [W/K]

    Notes
    -----
    1/UA = 1/UA0 [s (ma/ma0)^-na + (1 - s) (ml/ml0)^-nl k0/k], the second term for laminar
    coolant, whose Nusselt number does not depend on the fluid. Within 7 % for a factor of 2
    in the air flow and 15 % for a factor of 4.

    Validity
    --------
    Within a factor of 4 of the rated air flow, laminar coolant. Outside, the power laws go on,
    and a flow of zero counts as 1e-9 of the rated.

    References
    ----------
    .. [1] Y.-J. Chang, C.-C. Wang, "A Generalized Heat Transfer Correlation for Louver Fin
           Geometry," Int. J. Heat Mass Transfer, vol. 40, no. 3, pp. 533-544, 1997: the
           exponent 1 - 0.49 of the air side. doi:10.1016/0017-9310(96)00116-0
    """
    share = np.asarray(rating.air_share, dtype=np.float64)
    air_side = share * _relative(air_flow, rating.air_flow) ** -np.asarray(rating.air_exponent)
    liquid_side = _relative(liquid_flow, rating.liquid_flow) ** -np.asarray(rating.liquid_exponent)
    liquid_side = (1.0 - share) * liquid_side / np.asarray(conductivity_ratio, dtype=np.float64)
    scaled: NDArray[np.float64] = np.asarray(ua, dtype=np.float64) / (air_side + liquid_side)
    return scaled


def _streams(rating: Rating) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Smaller capacity rate, and its ratio to the larger."""
    air = np.asarray(rating.air_capacity, dtype=np.float64)
    liquid = np.asarray(rating.liquid_capacity, dtype=np.float64)
    weaker = np.minimum(air, liquid)
    return weaker, weaker / np.maximum(air, liquid)


def _relative(flow: ArrayLike, rated: ArrayLike) -> NDArray[np.float64]:
    ratio = np.asarray(flow, dtype=np.float64) / np.asarray(rated, dtype=np.float64)
    return np.maximum(ratio, _SLOWEST)
