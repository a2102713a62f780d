"""Uncertainty on the wire: what is uncertain in a machine, and what that does to the answer."""

from typing import Annotated

from msgspec import Meta

from loopmargin_wire.answer import State
from loopmargin_wire.part import Part
from loopmargin_wire.quantity import Confidence, Count, Number, Share, Text, quantity, whole


class Uncertainties(Part, frozen=True, kw_only=True):
    """Relative standard uncertainties of what a machine is built from, and how many to draw.

    Each is the standard deviation of a factor about one; factors are lognormal and
    independent. `air_flow`, `conductance`, `loop_resistance`, `pump_speed` and `rest` are
    common to the whole machine, the others are drawn for every block alone.
    """

    draws: Annotated[int, whole(200, 20_000, "Machines drawn")] = 2000
    air_flow: Annotated[float, quantity("1", 0.0, 0.5, "Air flow of installed fans")] = 0.20
    conductance: Annotated[float, quantity("1", 0.0, 0.5, "Radiator conductance UA")] = 0.15
    loop_resistance: Annotated[float, quantity("1", 0.0, 0.5, "Resistance of the loop")] = 0.15
    pump_speed: Annotated[float, quantity("1", 0.0, 0.3, "Pump, as a factor on its speed")] = 0.03
    heat: Annotated[float, quantity("1", 0.0, 0.5, "Power of each cooled part")] = 0.05
    rest: Annotated[float, quantity("1", 0.0, 0.5, "Heat released to the case air")] = 0.20
    block_resistance: Annotated[
        float, quantity("1", 0.0, 0.5, "Resistance of each block without its interface")
    ] = 0.15
    interface_resistance: Annotated[
        float, quantity("1", 0.0, 0.8, "Resistance of each interface")
    ] = 0.40


class Contribution(State, frozen=True, kw_only=True):
    """Share of the variance that one input causes, to first order."""

    cause: Text
    share: Share


class Spread(State, frozen=True, kw_only=True):
    """One quantity over the machines drawn.

    The interval holds the confidence asked for, with equal tails. `linear_low` and
    `linear_high` are what the linear method (JCGM 100) gives from the same draws, and
    `linear_agrees` says whether both ends lie within a twentieth of the interval's width
    (the comparison of JCGM 101, 8.1, with the digits that so many draws support). What the
    contributions leave to one is curvature and interaction.
    """

    quantity: Text
    unit: Annotated[str, Meta(max_length=16)]
    best_estimate: Number
    standard_uncertainty: Number
    low: Number
    high: Number
    linear_low: Number
    linear_high: Number
    linear_agrees: bool
    budget: Annotated[tuple[Contribution, ...], Meta(max_length=200)]


class Simulation(State, frozen=True, kw_only=True):
    """Machines drawn from the uncertainties, each solved whole.

    The seed follows from the question and the edition, so every replica draws the same.
    `settled_share` is the share of draws that settled inside the range of the laws; the
    chance of a margin counts the others as failing.
    """

    draws: Count
    seed: Annotated[str, Meta(max_length=64)]
    confidence: Confidence
    settled_share: Share
    spreads: Annotated[tuple[Spread, ...], Meta(max_length=100)]
