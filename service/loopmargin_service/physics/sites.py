"""The places of a loop at which the state of the coolant is asked for, each of them once.

The coolant changes its temperature in blocks and radiators alone, so that all tubes between two
of these share one state. Arrays end in the batch axis; the stacked profiles hold the temperatures
of all branches before, between and after what exchanges heat.
"""

from typing import NamedTuple

import numpy as np

from loopmargin_service.physics.coolant import Properties
from loopmargin_service.physics.loop import Liquid
from loopmargin_service.physics.rows import Array, Index, row_mean


class Place(NamedTuple):
    """Where something sits along the stacked profiles: between two of their points."""

    before: Index
    after: Index

    def temperature(self, stacked: Array) -> Array:
        """Mean of what enters and what leaves. [K]"""
        return np.asarray(0.5 * (stacked[self.before] + stacked[self.after]))


class Sites(NamedTuple):
    """Every place once, and at which of them passages, components and radiators sit."""

    place: Place
    passages: Index
    components: Index
    radiators: Index

    def temperatures(self, stacked: Array, pumps: Array) -> Array:
        """Give the temperature of every site, of the pumps, and the mean of all points. [K]"""
        return np.concatenate([self.place.temperature(stacked), pumps, row_mean(stacked)[None]])

    def coolant(self, every: Properties) -> "Coolant":
        """Hand out properties at those temperatures to what asks for them. [SI]"""
        pumps = slice(self.place.before.size, -1)
        return Coolant(
            Liquid(
                Properties(*(part[self.passages] for part in every)),
                Properties(*(part[self.components] for part in every)),
                Properties(*(part[pumps] for part in every)),
            ),
            Properties(*(part[self.radiators] for part in every)),
            every.heat_capacity[-1],
        )


class Coolant(NamedTuple):
    """The coolant in everything, in the radiators again, and one heat capacity for all of it."""

    liquid: Liquid
    radiators: Properties
    heat_capacity: Array


def sites(passages: Place, components: Place, radiators: Place) -> Sites:
    """
    Find the places that differ.

    Parameters
    ----------
    passages, components, radiators : Place
        Where they sit along the stacked profiles. [-]

    Returns
    -------
    Sites
        Each place once. [-]
    """
    number: dict[tuple[int, int], int] = {}
    indices = []
    for place in (passages, components, radiators):
        pairs = zip(place.before.tolist(), place.after.tolist(), strict=True)
        found = [number.setdefault(pair, len(number)) for pair in pairs]
        indices.append(np.array(found, dtype=np.intp))
    ends = np.array(list(number), dtype=np.intp).reshape(-1, 2)
    return Sites(Place(ends[:, 0], ends[:, 1]), *indices)
