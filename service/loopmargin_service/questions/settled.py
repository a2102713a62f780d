"""A settled machine with everything that describes it."""

from typing import NamedTuple

from loopmargin_service.physics.machine import Equilibrium
from loopmargin_service.questions.machine_build import Built
from loopmargin_service.questions.machine_draws import Best, Drawn
from loopmargin_service.questions.operating_point import Point
from loopmargin_service.questions.pipework import Pipework
from loopmargin_wire.answer import Margin
from loopmargin_wire.noise import NoiseAnswer
from loopmargin_wire.steady_state import SteadyStateQuestion
from loopmargin_wire.supply_headroom import SupplyHeadroomAnswer

# The case of the batch that is answered.
BASE = 0


class Settled(NamedTuple):
    """A question, what was built from it, and what came out; one case.

    `noise` is there if there is a listener, `drawn` are the machines drawn from uncertainties,
    if that was asked for.
    """

    question: SteadyStateQuestion
    plumbing: Pipework
    built: Built
    state: Equilibrium
    supply: SupplyHeadroomAnswer
    noise: NoiseAnswer | None = None
    drawn: Drawn | None = None

    @property
    def part_margins(self) -> tuple[Margin, ...]:
        """Margins of the part questions that were asked beside the machine."""
        return (*(self.noise.margins if self.noise else ()), *self.supply.margins)

    @property
    def best(self) -> Best:
        """The machine that others are drawn about."""
        return Best(self.question, self.built, self.state)

    def point(self) -> Point:
        """Give the loop at the case asked about."""
        return self.best.point()
