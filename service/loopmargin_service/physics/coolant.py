"""Density, viscosity, heat capacity and conductivity of water and of glycol in water.

Water follows the release of IAPWS in `water`, glycols the polynomials of Melinder in
`glycol`. Both are brought to one form on import: a polynomial in the temperature, scaled to
-1..1, for each property (for viscosity of its logarithm). One coolant then is one small table
of coefficients, and all four properties of all temperatures are added up together.

Below a mass fraction of 0.05 the polynomials of Melinder miss water by up to 1.4 % and
would not be monotone; there every coefficient goes in a straight line from water to the
glycol at 0.05, which for the viscosity is a straight line in its logarithm.

Pressure and the corrosion inhibitors of coolants on sale are left out; the latter are
worth 1 % to 2 % in conductivity and up to 10 % in viscosity. SI throughout.
"""

import math
from functools import lru_cache
from typing import Literal, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from loopmargin_service.physics import glycol, water

Fluid = Literal["water"] | glycol.Glycol

TEMPERATURE_MIN_WATER = water.FREEZING_TEMPERATURE
"""Below it water is ice. [K]"""

TEMPERATURE_MAX_GLYCOL = 373.15
"""End of the polynomials of Melinder. [K]"""

TEMPERATURE_MAX = 368.15
"""Hottest coolant that is answered for; a vented loop boils soon above. [K]"""

MASS_FRACTION_MAX = glycol.MASS_FRACTION_MAX
"""Largest mass fraction of glycol of the polynomials. [-]"""

MASS_FRACTION_BLENDED = 0.05
"""Below it the properties go in a straight line to water. [-]"""

# Ends of the evaluation; the water laws have a pole at 232 K, so theirs starts later.
_COLDEST_WATER = 268.15
_COLDEST_GLYCOL = 218.15
_HOTTEST = 383.15
_MIDDLE = 0.5 * (_HOTTEST + _COLDEST_WATER)
_HALF = 0.5 * (_HOTTEST - _COLDEST_WATER)
_DEGREE_WATER = 16
# Coefficients that are added up together, and temperatures that stay in the cache meanwhile.
_BLOCK = 4
_TILE = 512


class Properties(NamedTuple):
    """What flow and heat transfer need of a coolant."""

    density: NDArray[np.float64]
    """Density. [kg/m3]"""
    viscosity: NDArray[np.float64]
    """Dynamic viscosity. [Pa s]"""
    heat_capacity: NDArray[np.float64]
    """Isobaric specific heat capacity. [J/(kg K)]"""
    conductivity: NDArray[np.float64]
    """Thermal conductivity. [W/(m K)]"""


def properties(fluid: Fluid, mass_fraction: ArrayLike, temperature: ArrayLike) -> Properties:
    """Properties of a coolant near atmospheric pressure.

    Parameters
    ----------
    fluid : {"water", "ethylene_glycol", "propylene_glycol"}
        The coolant. [-]
    mass_fraction : array_like
        Mass of glycol over mass of mix, 0 to 0.6; not looked at for water. A single
        number is the quick way. [-]
    temperature : array_like
        Temperature, broadcast with *mass_fraction*. [K]

    Returns
    -------
    Properties
        Density, viscosity, heat capacity, conductivity, each of the broadcast shape.
        [kg/m3, Pa s, J/(kg K), W/(m K)]

    Notes
    -----
    Water by [1]_, to 2e-8 of it between 273.15 K and 383.15 K. Glycols by [2]_, from the
    freezing point to 373.15 K; other tables differ by up to 1 %, 7 %, 1.5 % and 2 % in the
    order of the result, below 273 K the viscosity by up to 10 %.

    Nothing is refused: a liquid below its freezing point gives smooth nonsense, and
    outside 268 K (water) or 218 K (glycol) to 383 K the value at the end is held. The
    caller compares with `freezing_temperature` and `TEMPERATURE_MAX`.

    Validity
    --------
    Water 273.15 K to 383.15 K, glycols from the freezing point to 373.15 K and mass fractions
    of 0 to 0.6. Outside 268 K (water) or 218 K (glycol) to 383 K the value at the end is held.

    References
    ----------
    .. [1] IAPWS SR6-08(2011), "Revised Supplementary Release on Properties of Liquid
           Water at 0.1 MPa," 2011.
    .. [2] A. Melinder, "Properties of Secondary Working Fluids for Indirect Systems,"
           2nd ed., IIR/IIF, Paris, 2010.
    """
    temperature = np.asarray(temperature, dtype=np.float64)
    if fluid == "water":
        return _evaluated(_WATER, _scaled(temperature, _COLDEST_WATER))
    if np.ndim(mass_fraction):
        return _of_many(fluid, np.asarray(mass_fraction, dtype=np.float64), temperature)
    table = _mix(fluid, float(np.asarray(mass_fraction)))
    coldest = _COLDEST_GLYCOL if table.shape[1] == len(_RISING) else _COLDEST_WATER
    return _evaluated(table, _scaled(temperature, coldest))


def freezing_temperature(fluid: Fluid, mass_fraction: ArrayLike) -> NDArray[np.float64]:
    """Temperature at which the first ice forms.

    Parameters
    ----------
    fluid : {"water", "ethylene_glycol", "propylene_glycol"}
        The coolant. [-]
    mass_fraction : array_like
        Mass of glycol over mass of mix, 0 to 0.6; not looked at for water. [-]

    Returns
    -------
    ndarray
        Freezing temperature. [K]

    Notes
    -----
    Polynomial of [1]_, uncertain by 1 K, 2 K above a mass fraction of 0.45; below 0.05 a
    straight line to water.

    Validity
    --------
    Mass fractions of 0.05 to 0.6. Outside, a straight line runs to water at 0, and beyond 0.6
    the value there is held.

    References
    ----------
    .. [1] A. Melinder, "Properties of Secondary Working Fluids for Indirect Systems,"
           2nd ed., IIR/IIF, Paris, 2010.
    """
    mass_fraction = np.asarray(mass_fraction, dtype=np.float64)
    if fluid == "water":
        return np.full(mass_fraction.shape, water.FREEZING_TEMPERATURE)
    table = glycol.TABLES[fluid]
    offset = np.clip(mass_fraction, MASS_FRACTION_BLENDED, MASS_FRACTION_MAX)
    celsius = np.polynomial.polynomial.polyval(offset - table.base_mass_fraction, table.freezing)
    share = np.clip(mass_fraction / MASS_FRACTION_BLENDED, 0.0, 1.0)
    freezing: NDArray[np.float64] = water.FREEZING_TEMPERATURE + share * celsius
    return freezing


def saturation_pressure(temperature: ArrayLike) -> NDArray[np.float64]:
    """Vapour pressure of water, an upper bound for its mixes with glycol.

    Parameters
    ----------
    temperature : array_like
        Temperature. [K]

    Returns
    -------
    ndarray
        Absolute vapour pressure. [Pa]

    Notes
    -----
    See `water.saturation_pressure`.

    Validity
    --------
    273.16 K to 647.096 K. Outside, as in `water.saturation_pressure`.
    """
    return water.saturation_pressure(np.asarray(temperature, dtype=np.float64))


def _scaled(temperature: NDArray[np.float64], coldest: float) -> NDArray[np.float64]:
    held = np.minimum(np.maximum(temperature, coldest), _HOTTEST)
    return (held - _MIDDLE) / _HALF


def _evaluated(table: NDArray[np.float64], scaled: NDArray[np.float64]) -> Properties:
    """Add up the four polynomials of a table.

    A matrix product would do, but its digits depend on how many temperatures there are.
    """
    x = scaled.ravel()
    values = np.empty((len(table), x.size))
    for start in range(0, x.size, _TILE):
        here = slice(start, start + _TILE)
        _polynomials(table, x[here], values[:, here])
    np.exp(values[1], out=values[1])
    return Properties(*values.reshape(4, *scaled.shape))


def _polynomials(
    table: NDArray[np.float64], x: NDArray[np.float64], out: NDArray[np.float64]
) -> None:
    """Polynomials by Horner's rule within blocks of coefficients, and then over the blocks."""
    blocks = table.reshape(len(table), -1, _BLOCK, 1)
    inner = blocks[:, :, -1] * x
    for power in range(_BLOCK - 2, 0, -1):
        inner += blocks[:, :, power]
        inner *= x
    inner += blocks[:, :, 0]
    square = x * x
    step = square * square
    out[:] = inner[:, -1]
    for block in range(inner.shape[1] - 2, -1, -1):
        out *= step
        out += inner[:, block]


def _of_many(
    fluid: glycol.Glycol, mass_fraction: NDArray[np.float64], temperature: NDArray[np.float64]
) -> Properties:
    added = (1,) * (temperature.ndim - mass_fraction.ndim)
    mass_fraction = mass_fraction.reshape(added + mass_fraction.shape)
    rows = _collapsed(fluid, np.clip(mass_fraction, MASS_FRACTION_BLENDED, MASS_FRACTION_MAX))
    scaled = _scaled(temperature, _COLDEST_GLYCOL)
    values = rows[:, -1]
    for i in reversed(_RISING[:-1]):
        values = values * scaled + rows[:, i]
    share = np.clip(mass_fraction / MASS_FRACTION_BLENDED, 0.0, 1.0)
    if np.any(share < 1.0):
        density, viscosity, *others = _evaluated(_WATER, _scaled(temperature, _COLDEST_WATER))
        pure = np.stack((density, np.log(viscosity), *others))
        values = share * values + (1.0 - share) * pure
    values[1] = np.exp(values[1])
    return Properties(*values)


@lru_cache(maxsize=256)
def _mix(fluid: glycol.Glycol, mass_fraction: float) -> NDArray[np.float64]:
    """Coefficients of one mix; as many columns as water where water is blended in."""
    held = min(max(mass_fraction, MASS_FRACTION_BLENDED), MASS_FRACTION_MAX)
    rows = _collapsed(fluid, np.array(held))
    if mass_fraction >= MASS_FRACTION_BLENDED:
        return rows
    share = max(mass_fraction, 0.0) / MASS_FRACTION_BLENDED
    table: NDArray[np.float64] = (1.0 - share) * _WATER
    table[:, : len(_RISING)] += share * rows
    return table


def _collapsed(fluid: glycol.Glycol, mass_fraction: NDArray[np.float64]) -> NDArray[np.float64]:
    """Coefficients by property and power of scaled temperature, for each mass fraction."""
    offset = mass_fraction - glycol.TABLES[fluid].base_mass_fraction
    powers = np.stack([offset**j for j in range(_GLYCOL[fluid].shape[2])])
    collapsed: NDArray[np.float64] = np.tensordot(_GLYCOL[fluid], powers, axes=1)
    return collapsed


def _water_table() -> NDArray[np.float64]:
    """Interpolate the laws of water at the Chebyshev points, in rising powers, in whole blocks."""
    nodes = np.polynomial.chebyshev.chebpts1(_DEGREE_WATER + 1)
    temperature = _MIDDLE + _HALF * nodes
    values = (
        water.density(temperature),
        np.log(water.viscosity(temperature)),
        water.heat_capacity(temperature),
        water.conductivity(temperature),
    )
    chebyshev = np.polynomial.chebyshev
    table = np.array(
        [chebyshev.cheb2poly(chebyshev.chebfit(nodes, value, _DEGREE_WATER)) for value in values]
    )
    return np.pad(table, ((0, 0), (0, -table.shape[1] % _BLOCK)))


def _glycol_table(table: glycol.Table) -> NDArray[np.float64]:
    """Move the powers of temperature of one glycol to the scaled temperature, and to Pa s."""
    offset = _MIDDLE - water.FREEZING_TEMPERATURE - table.base_celsius
    shift = np.zeros((len(_RISING), len(_RISING)))
    for i in _RISING:
        for k in range(i + 1):
            shift[k, i] = math.comb(i, k) * _HALF**k * offset ** (i - k)
    moved: NDArray[np.float64] = np.einsum("ki,pij->pkj", shift, table.rows)
    moved[1, 0, 0] += math.log(1e-3)
    return moved


_RISING = range(4)
_WATER = _water_table()
_GLYCOL = {fluid: _glycol_table(table) for fluid, table in glycol.TABLES.items()}
