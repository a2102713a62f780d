"""Water blocks on what draws power: their resistance to the coolant, and what the supply sees."""

from typing import Annotated, Literal

from msgspec import Meta

from loopmargin_wire.part import Part, PressureDrop
from loopmargin_wire.quantity import FlowLPerMin, Name, ResistanceKPerW, quantity, words
from loopmargin_wire.supply_headroom import Excursion, ShortPeak


class ConstantResistance(Part, tag_field="kind", tag="constant", frozen=True, kw_only=True):
    """A block of one resistance, whatever the flow."""

    resistance_k_per_w: ResistanceKPerW


class ResistanceCurve(Part, tag_field="kind", tag="curve", frozen=True, kw_only=True):
    """A block by minimum + factor / flow**exponent, with the flow in L/min."""

    minimum_k_per_w: ResistanceKPerW
    factor_k_per_w: ResistanceKPerW
    exponent: Annotated[float, quantity("1", 0.2, 1.0, "Exponent of flow")] = 0.6


class ResistancePoint(Part, frozen=True, kw_only=True):
    """One measured point of flow and resistance."""

    flow_l_per_min: FlowLPerMin
    resistance_k_per_w: Annotated[float, quantity("K/W", 0.0005, 5.0, "Measured resistance")]


class ResistancePoints(Part, tag_field="kind", tag="points", frozen=True, kw_only=True):
    """A block by points, fitted with minimum + factor / flow**exponent."""

    points: Annotated[tuple[ResistancePoint, ...], Meta(min_length=1, max_length=30)]


BlockResistance = ConstantResistance | ResistanceCurve | ResistancePoints


class HeatedBlock(Part, tag_field="kind", tag="block", frozen=True, kw_only=True):
    """A water block on a part that draws power.

    The resistances are from the part's case to the coolant entering the block. The peak
    is the power drawn for up to 10 ms, over the sustained power; the supply sees it. A card
    is taken to peak up to the limit of the add-in card standard, three times its power, unless
    `excursion` says what was measured; a `peak_over_sustained` beyond either raises it.
    """

    name: Name = "block"
    load: Annotated[
        Literal["processor", "card", "other"],
        words(
            "What draws the power, as the supply sees it: a processor or another load peaks by "
            "`peak_over_sustained`, a card by its excursion as well"
        ),
    ]
    power_w: Annotated[float, quantity("W", 0.0, 3000.0, "Sustained power of the part")]
    peak_over_sustained: ShortPeak = 1.0
    captured_fraction: Annotated[
        float, quantity("1", 0.3, 1.0, "Share of the heat that reaches the coolant")
    ] = 1.0
    pressure_drop: PressureDrop
    resistance: BlockResistance
    interface_k_per_w: ResistanceKPerW = 0.02
    limit_c: Annotated[float, quantity("degC", 30.0, 150.0, "Highest allowed part temperature")]
    excursion: Annotated[
        Excursion | None,
        words(
            "Peaks of a card, by length; absent, the limit of the add-in card standard. Cards "
            "alone have it"
        ),
    ] = None
