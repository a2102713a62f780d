"""A settled machine with everything that describes it."""

from typing import NamedTuple

import numpy as np

from loopmargin_service.physics.machine import Equilibrium
from loopmargin_service.questions.draws import Drawn
from loopmargin_service.questions.machine_build import Built
from loopmargin_service.questions.operating_point import Point, case
from loopmargin_service.questions.pipework import Pipework
from loopmargin_wire.answer import Margin
from loopmargin_wire.noise import NoiseAnswer
from loopmargin_wire.part import Reservoir
from loopmargin_wire.steady_state import SteadyStateQuestion
from loopmargin_wire.supply_headroom import SupplyHeadroomAnswer

# Cases of the batch: as asked, with slower fans, with slower pumps.
BASE = 0
FANS = 1
PUMPS = 2


class Settled(NamedTuple):
    """A question, what was built from it, and what came out; one batch of three cases.

    `noise` is there if there is a listener, `drawn` are the machines drawn from uncertainties,
    if that was asked for.
    """

    question: SteadyStateQuestion
    plumbing: Pipework
    built: Built
    reservoir: Reservoir
    state: Equilibrium
    supply: SupplyHeadroomAnswer
    noise: NoiseAnswer | None = None
    drawn: Drawn | None = None

    @property
    def part_margins(self) -> tuple[Margin, ...]:
        """Margins of the part questions that were asked beside the machine."""
        return (*(self.noise.margins if self.noise else ()), *self.supply.margins)

    def point(self) -> Point:
        """Give the loop at the case asked about."""
        pumps = self.question.pumps
        ratios = np.array([[pump.speed_rpm / pump.curve_speed_rpm] for pump in pumps])
        flows = self.state.flows
        every = np.repeat(ratios, flows.flow.shape[1], axis=1)
        return case(flows.flow, flows.pressure, self.state.liquid, every, BASE)
