"""Thermal resistance of a water block, from whichever description is given."""

from functools import lru_cache
from typing import NamedTuple

import numpy as np

from loopmargin_service.physics import cold_plate
from loopmargin_service.questions.conversion import L_PER_MIN
from loopmargin_wire.steady_state import BlockResistance, ConstantResistance, ResistanceCurve


class Law(NamedTuple):
    """Resistance as minimum + factor / flow**exponent, [K/W] with the flow in L/min."""

    minimum: float
    factor: float
    exponent: float

    def at(self, volume_flow: float) -> float:
        """Resistance at a volume flow in m3/s. [K/W]"""
        return float(
            cold_plate.resistance(self.minimum, self.factor, self.exponent, np.float64(volume_flow))
        )


@lru_cache(maxsize=256)
def law(given: BlockResistance) -> Law:
    """Reduce a block to three numbers."""
    if isinstance(given, ConstantResistance):
        return Law(given.resistance_k_per_w, 0.0, 1.0)
    if isinstance(given, ResistanceCurve):
        return Law(given.minimum_k_per_w, given.factor_k_per_w, given.exponent)
    fit = cold_plate.fit_resistance(
        np.array([point.flow_l_per_min * L_PER_MIN for point in given.points]),
        np.array([point.resistance_k_per_w for point in given.points]),
    )
    return Law(float(fit.minimum), float(fit.factor), float(fit.exponent))
