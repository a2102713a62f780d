"""The supply of a question: its allowance, its derating and what it takes from the mains."""

from collections.abc import Sequence
from typing import Literal, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from loopmargin_service.physics import efficiency as efficiencies
from loopmargin_service.physics import supply as supplies
from loopmargin_service.physics.excursion import (
    LOWER_COLUMN,
    NO_ALLOWANCE,
    UPPER_COLUMN,
    UPPER_COLUMN_ABOVE,
)
from loopmargin_service.questions.conversion import celsius, kelvin
from loopmargin_service.questions.refusals import Fault
from loopmargin_wire.supply_headroom import (
    Efficiency,
    EfficiencyPoints,
    LegacyFlat,
    LegacyLowerColumn,
    MainsState,
    PublishedStaircase,
    Supply,
)

ColumnName = Literal["upper", "lower", "flat", "none"]


class Column(NamedTuple):
    """The allowances for 0.1, 1, 10 and 100 ms, and which ones they are."""

    name: ColumnName
    factors: tuple[float, float, float, float]


class Derating(NamedTuple):
    """What inlet and altitude leave of the rating."""

    full_rating_up_to_c: float
    factor: float


def allowance_column(supply: Supply, rated_w: float) -> Column:
    """Choose the allowances of a supply like this one, had it this rating."""
    match supply.allowance:
        case PublishedStaircase(high_power_connector=True) if rated_w > UPPER_COLUMN_ABOVE:
            return Column("upper", UPPER_COLUMN)
        case PublishedStaircase() | LegacyLowerColumn():
            return Column("lower", LOWER_COLUMN)
        case LegacyFlat(factor=factor):
            return Column("flat", (factor, factor, factor, factor))
        case _:
            return Column("none", NO_ALLOWANCE)


def derating(supply: Supply, inlet_c: float, altitude_m: float) -> Derating:
    """Give what this inlet air and this altitude leave of the rating."""
    full = supplies.full_rating_temperature(kelvin(supply.rated_temperature_c), altitude_m)
    factor = supplies.derate_factor(kelvin(inlet_c), full, supply.derate_per_k)
    return Derating(celsius(float(full)), float(factor))


def loss_fraction(efficiency: Efficiency, load_fraction: ArrayLike) -> NDArray[np.float64]:
    """Give the loss over rated power at any load fractions."""
    if isinstance(efficiency, EfficiencyPoints):
        points = sorted(efficiency.points, key=lambda point: point.load_fraction)
        return efficiencies.measured_loss(
            load_fraction,
            [point.load_fraction for point in points],
            [point.efficiency for point in points],
        )
    tiers = {"115_v": efficiencies.TIERS_115_V, "230_v": efficiencies.TIERS_230_V}
    return efficiencies.tier_loss(load_fraction, tiers[efficiency.certified_at][efficiency.tier])


def mains(supply: Supply, load_w: float) -> MainsState:
    """Give what the supply takes from the mains at this output, up to its rated power."""
    load_fraction = load_w / supply.rated_w
    loss = float(loss_fraction(supply.efficiency, load_fraction))
    power = load_w + loss * supply.rated_w
    return MainsState(
        load_fraction=load_fraction,
        efficiency=float(efficiencies.efficiency(load_fraction, loss)),
        power_w=power,
        apparent_power_va=power / supply.power_factor,
        current_a=float(supplies.mains_current(power, supply.mains_voltage_v, supply.power_factor)),
        heat_from_supply_w=power - load_w,
        heat_to_room_w=power,
    )


def efficiency_faults(efficiency: Efficiency, path: Sequence[str | int]) -> list[Fault]:
    """List the efficiency points that contradict another one at the same load."""
    if not isinstance(efficiency, EfficiencyPoints):
        return []
    faults: list[Fault] = []
    seen: dict[float, int] = {}
    for index, point in enumerate(efficiency.points):
        first = seen.setdefault(point.load_fraction, index)
        if first != index:
            faults.append(
                Fault(
                    (*path, "points", index, "load_fraction"),
                    f"Point {index} repeats the load fraction {point.load_fraction:g} of point "
                    f"{first}; the efficiency at one load can be only one number. Drop one of "
                    "the two or give it the load it was measured at.",
                )
            )
    return faults
