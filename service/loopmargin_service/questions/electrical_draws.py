"""Loads drawn at random: loads and connectors by their own uncertainty, the supply by its loss."""

from collections.abc import Iterator
from typing import NamedTuple

import numpy as np

from loopmargin_service.physics.network import Array
from loopmargin_service.questions import draws, uncertainty
from loopmargin_service.questions.draws import Cause, Draws
from loopmargin_service.questions.electrical_demand import Demand
from loopmargin_service.questions.electrical_supply import loss_fraction
from loopmargin_service.questions.spreads import Quantity, simulation
from loopmargin_wire.supply_headroom import SupplyHeadroomQuestion
from loopmargin_wire.uncertainty import Simulation

LOAD_SOURCE = f"catalogue power, 5 to 10 %, of the rest 20 %, unless stated; {uncertainty.PRACTICE}"
CONNECTOR_SOURCE = f"power through a connector, unless stated; {uncertainty.PRACTICE}"
LOSS = "loss of the supply"


class DrawnLoads(NamedTuple):
    """Demand over every window in every draw, (windows, draws) [W], and each connector's factor."""

    draws: Draws
    demand: Array
    connectors: Array


def load_names(question: SupplyHeadroomQuestion) -> list[str]:
    """Give every load a name of its own, in the order of `Demand.loads`."""
    cards = [f"power of {card.name} ({row + 1})" for row, card in enumerate(question.cards)]
    others = [
        f"power of {load.name} ({row})"
        for row, load in enumerate(question.others, start=len(question.cards) + 1)
    ]
    return [f"power of {question.processor.name}", *cards, *others, "power of the rest"]


def _causes(question: SupplyHeadroomQuestion, loss: Cause) -> Iterator[Cause]:
    """List what is uncertain; equal cards are equally wrong, different loads are not."""
    relative = [
        question.processor.relative_uncertainty,
        *(card.relative_uncertainty for card in question.cards),
        *(load.relative_uncertainty for load in question.others),
        question.rest_relative_uncertainty,
    ]
    for name, value in zip(load_names(question), relative, strict=True):
        yield Cause(name, value, LOAD_SOURCE)
    for name, connector in zip(_connector_names(question), question.connectors, strict=True):
        yield Cause(name, connector.relative_uncertainty, CONNECTOR_SOURCE)
    yield loss


def _connector_names(question: SupplyHeadroomQuestion) -> list[str]:
    """Give every connector a name of its own."""
    return [f"power of plug {one.name} ({row + 1})" for row, one in enumerate(question.connectors)]


def draw(question: SupplyHeadroomQuestion, demand: Demand) -> DrawnLoads | None:
    """Draw every load, if that is asked for."""
    asked = question.uncertainty
    if asked is None:
        return None
    loss = uncertainty.cause(asked, "loss_law", LOSS)
    drawn = draws.draw(question, asked, _causes(question, loss))
    factors = drawn.factors(load_names(question))
    return DrawnLoads(
        drawn,
        np.einsum("lw,ld->wd", demand.loads, factors),
        drawn.factors(_connector_names(question)),
    )


def described(
    question: SupplyHeadroomQuestion, loads: DrawnLoads | None, *, carried: bool
) -> Simulation | None:
    """Describe the draws; mains power where the supply carries the load at best estimate."""
    if loads is None:
        return None
    sustained = loads.demand[-1]
    rows = [
        Quantity("sustained power", "W", sustained),
        Quantity("largest demand of any window", "W", loads.demand.max(axis=0)),
    ]
    if carried:
        supply = question.supply
        share = np.minimum(sustained / supply.rated_w, 1.0)
        lost = loss_fraction(supply.efficiency, share) * supply.rated_w
        rows.append(Quantity("mains power", "W", sustained + lost * loads.draws.factor(LOSS)))
    return simulation(loads.draws, rows, question.confidence)
