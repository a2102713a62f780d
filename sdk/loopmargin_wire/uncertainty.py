"""Uncertainty on the wire: what is uncertain in a question, and what that does to its answer.

Every number of a question's uncertainty is a standard uncertainty. Without a unit it is
relative, the standard deviation of a factor about one, and the factor is lognormal; with a
unit it is that of a normal offset. All are independent of each other. Fields that end in
`_law` are of the form of a law, by the scatter of what it was fitted to; the others are of
what the question states. Zero leaves a cause out.
"""

from typing import Annotated, Literal

from msgspec import Meta

from loopmargin_wire.answer import State
from loopmargin_wire.part import Part
from loopmargin_wire.quantity import Confidence, Count, Number, Share, Text, quantity, whole

Seed = Annotated[
    str,
    Meta(
        min_length=32,
        max_length=32,
        pattern=r"^[0-9a-f]{32}(?![\s\S])",
        description="Seed of the draws, as an answer states it.",
    ),
]


class Drawing(Part, frozen=True, kw_only=True):
    """How many cases to draw, and from what.

    The seed follows from the question unless it is given: give that of another answer to
    compare two questions, and what is wrong in both alike cancels. More draws add to those
    that fewer would have had.
    """

    draws: Annotated[int, whole(200, 20_000, "Cases drawn")] = 1000
    seed: Seed | None = None


class RadiatorUncertainty(Drawing, frozen=True, kw_only=True):
    """What is uncertain about a radiator and its two streams."""

    heat: Annotated[float, quantity("1", 0.0, 0.5, "Heat to be carried away")] = 0.05
    coolant_flow: Annotated[float, quantity("1", 0.0, 0.5, "Coolant flow")] = 0.05
    stated_air_flow: Annotated[float, quantity("1", 0.0, 0.5, "Air flow as stated")] = 0.05
    air_flow: Annotated[float, quantity("1", 0.0, 0.5, "Air flow of installed fans")] = 0.20
    installation: Annotated[
        float, quantity("1", 0.0, 0.5, "Installation factor of a core: uneven air, bond, headers")
    ] = 0.10
    core_law: Annotated[float, quantity("1", 0.0, 0.5, "UA of louvred cores")] = 0.15
    rated_law: Annotated[float, quantity("1", 0.0, 0.5, "UA carried from a rated point")] = 0.07


class LoopUncertainty(Drawing, frozen=True, kw_only=True):
    """What is uncertain about a loop and its pumps."""

    pump_speed: Annotated[float, quantity("1", 0.0, 0.3, "Pump, as a factor on its speed")] = 0.03
    bore: Annotated[float, quantity("1", 0.0, 0.1, "Inside diameter of tubes and fittings")] = 0.015
    part_drop: Annotated[
        float, quantity("1", 0.0, 0.5, "Drop of blocks, radiators and couplings")
    ] = 0.06
    fitting_law: Annotated[
        float, quantity("1", 0.0, 0.5, "Loss of fittings, all of them alike")
    ] = 0.20
    friction_law: Annotated[
        float, quantity("1", 0.0, 0.5, "Friction of laminar or turbulent flow")
    ] = 0.03
    transitional_friction_law: Annotated[
        float, quantity("1", 0.0, 0.5, "Friction between laminar and turbulent flow")
    ] = 0.15
    air_carrying_law: Annotated[
        float, quantity("1", 0.0, 0.5, "Velocity that carries air down")
    ] = 0.15
    suction_head_m: Annotated[float, quantity("m", 0.0, 5.0, "Suction head of a pump")] = 0.3


class Uncertainties(LoopUncertainty, frozen=True, kw_only=True):
    """What is uncertain about a whole machine.

    `heat`, `block_law` and `interface_resistance` are drawn for every block alone, the others
    are common to the whole machine.
    """

    air_flow: Annotated[float, quantity("1", 0.0, 0.5, "Air flow of installed fans")] = 0.20
    installation: Annotated[
        float, quantity("1", 0.0, 0.5, "Installation factor of cores: uneven air, bond, headers")
    ] = 0.10
    core_law: Annotated[float, quantity("1", 0.0, 0.5, "UA of louvred cores")] = 0.15
    rated_law: Annotated[float, quantity("1", 0.0, 0.5, "UA carried from rated points")] = 0.07
    heat: Annotated[float, quantity("1", 0.0, 0.5, "Power of each cooled part")] = 0.05
    rest: Annotated[float, quantity("1", 0.0, 0.5, "Power of everything else")] = 0.20
    block_law: Annotated[
        float, quantity("1", 0.0, 0.5, "Resistance of each block without its interface")
    ] = 0.15
    interface_resistance: Annotated[
        float, quantity("1", 0.0, 0.8, "Resistance of each interface")
    ] = 0.40


class SupplyUncertainty(Drawing, frozen=True, kw_only=True):
    """What is uncertain about a supply; every load and connector states its own."""

    loss_law: Annotated[float, quantity("1", 0.0, 0.5, "Loss inside the supply")] = 0.10


class NoiseUncertainty(Drawing, frozen=True, kw_only=True):
    """What is uncertain about levels.

    Devices differ each for itself; speed laws and the installation err alike for all fans,
    and alike for all pumps.
    """

    device_db: Annotated[float, quantity("dB", 0.0, 10.0, "Level of one device")] = 2.0
    fan_speed_law_db: Annotated[
        float, quantity("dB", 0.0, 20.0, "Rise of the level of fans for a tenfold speed")
    ] = 5.0
    pump_speed_law_db: Annotated[
        float, quantity("dB", 0.0, 20.0, "Rise of the level of pumps for a tenfold speed")
    ] = 6.0
    installation_db: Annotated[float, quantity("dB", 0.0, 10.0, "Rise by the installation")] = 1.5


class WarmUpUncertainty(Drawing, frozen=True, kw_only=True):
    """What is uncertain about times; all stores of heat err alike."""

    heat_stored: Annotated[
        float, quantity("1", 0.0, 0.5, "Heat capacity of coolant, metal and plastics")
    ] = 0.10
    settling_law: Annotated[float, quantity("1", 0.0, 0.5, "Times to settle")] = 0.17
    limit_law: Annotated[float, quantity("1", 0.0, 0.5, "Times to a limit after a loss")] = 0.28


Kind = Literal["input", "law"]


class InputUncertainty(State, frozen=True, kw_only=True):
    """One thing drawn: whether what the question states or the form of a law, and on what ground.

    A unit of 1 is for a relative standard uncertainty.
    """

    cause: Text
    kind: Kind
    standard_uncertainty: Number
    unit: Annotated[str, Meta(max_length=16)]
    source: Text


class Contribution(State, frozen=True, kw_only=True):
    """Share of the variance that one cause explains, to first order."""

    cause: Text
    kind: Kind
    share: Share


class Spread(State, frozen=True, kw_only=True):
    """One quantity over the cases drawn.

    The interval holds the confidence asked for, with equal tails. `linear_low` and
    `linear_high` are what the linear method (JCGM 100) gives from the same draws, and
    `linear_agrees` says whether both ends lie within a twentieth of the interval's width, or
    within twice the error of the draws (the comparison of JCGM 101, 8.1). What the
    contributions leave to one is curvature and interaction.

    The `..._error` fields are standard errors of the draws themselves; numbers are rounded to
    the place of the first digit of their error, so that no digit stands for nothing.
    """

    quantity: Text
    unit: Annotated[str, Meta(max_length=16)]
    best_estimate: Number
    standard_uncertainty: Number
    standard_uncertainty_error: Number
    low: Number
    low_error: Number
    high: Number
    high_error: Number
    linear_low: Number
    linear_high: Number
    linear_agrees: bool
    budget: Annotated[tuple[Contribution, ...], Meta(max_length=200)]


class Simulation(State, frozen=True, kw_only=True):
    """Cases drawn from the uncertainties, each computed whole.

    The seed follows from the question, so every replica draws the same. `settled_share` is
    the share of draws that have an answer inside the range of the laws; the chance of a
    margin counts the others as failing, and spreads leave them out.
    """

    draws: Count
    seed: Seed
    confidence: Confidence
    settled_share: Share
    inputs: Annotated[tuple[InputUncertainty, ...], Meta(max_length=200)]
    spreads: Annotated[tuple[Spread, ...], Meta(max_length=200)]
