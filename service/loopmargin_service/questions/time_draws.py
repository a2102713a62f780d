"""Times drawn at random: heat stored, and how far lumped capacities and steady flows hold.

Every time goes in proportion to the heat stored when all stores err alike, which is exact for
the linear system behind them.
"""

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from loopmargin_service.physics.network import Array
from loopmargin_service.questions import draws, uncertainty
from loopmargin_service.questions.draws import Draws
from loopmargin_service.questions.naming import told_apart
from loopmargin_service.questions.running import Start
from loopmargin_service.questions.spreads import Quantity, simulation
from loopmargin_wire.uncertainty import Simulation
from loopmargin_wire.warm_up import Loss, WarmUpQuestion

STORED = "heat stored"
SETTLING = "law of times to settle"
LIMIT = "law of times to a limit"


class DrawnTimes(NamedTuple):
    """Factors on times to settle and on times to a limit, (draws,). [-]"""

    draws: Draws
    settling: Array
    to_limit: Array


def draw(question: WarmUpQuestion) -> DrawnTimes | None:
    """Draw the factors on all times, if that is asked for."""
    asked = question.uncertainty
    if asked is None:
        return None
    causes = (
        uncertainty.cause(asked, "heat_stored", STORED),
        uncertainty.cause(asked, "settling_law", SETTLING),
        uncertainty.cause(asked, "limit_law", LIMIT),
    )
    drawn = draws.draw(question, asked, causes)
    stored = drawn.factor(STORED) * np.ones(drawn.size)
    return DrawnTimes(drawn, stored * drawn.factor(SETTLING), stored * drawn.factor(LIMIT))


def all_lost(losses: Sequence[Loss]) -> list[str]:
    """Name what is lost in each of several losses; equal names have their place behind them."""
    return told_apart([_lost(loss) for loss in losses])


def _lost(loss: Loss) -> str:
    """Name what is lost."""
    if loss.case_fans is not None:
        return loss.case_fans
    return "pumps" if loss.radiator is None else f"fans of {loss.radiator}"


def described(
    question: WarmUpQuestion, drawn: DrawnTimes | None, found: tuple[Start, tuple[Loss, ...]]
) -> Simulation | None:
    """Describe the draws: the run before a reading, and the soonest limit of every loss."""
    if drawn is None:
        return None
    begun, losses = found
    rows = [Quantity("time constant", "s", begun.time_constant_s * drawn.settling)]
    if begun.reading.run_s is not None:
        rows.append(Quantity("run before a reading", "s", begun.reading.run_s * drawn.settling))
    for loss, name in zip(losses, all_lost(losses), strict=True):
        time = loss.limits[0].to_limit_s
        if time is not None:
            rows.append(Quantity(f"soonest limit without {name}", "s", time * drawn.to_limit))
    return simulation(drawn.draws, rows, question.machine.confidence)
