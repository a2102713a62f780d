"""`supply-headroom`: is the power supply enough, at every length of peak and every plug?"""

from typing import Annotated, Literal

from msgspec import Meta

from loopmargin_wire.answer import Answer, Question, State
from loopmargin_wire.connector import Connector, RelativeUncertainty
from loopmargin_wire.part import Part
from loopmargin_wire.quantity import (
    AltitudeM,
    Confidence,
    Count,
    Current,
    Difference,
    Fraction,
    Name,
    Number,
    Power,
    Share,
    Temperature,
    Voltage,
    quantity,
    whole,
    words,
)
from loopmargin_wire.uncertainty import Simulation, SupplyUncertainty

Window = Literal["100_us", "1_ms", "10_ms", "100_ms", "1_s", "continuous"]
PeakOverSustained = Annotated[
    float, quantity("1", 1.0, 6.0, "Highest mean power over the window, over sustained power")
]
ShortPeak = Annotated[float, quantity("1", 1.0, 4.0, "Peak power up to 10 ms over sustained power")]


class Processor(Part, frozen=True, kw_only=True):
    """The processor, with the loss of its regulators, as the supply sees it.

    The peak lasts up to 10 ms; anything beyond a second is sustained.
    """

    name: Name = "processor"
    sustained_w: Annotated[float, quantity("W", 1.0, 2000.0, "Longest-lasting full power")]
    peak_over_sustained: ShortPeak = 1.5
    relative_uncertainty: RelativeUncertainty = 0.05


class AddInCardLimit(Part, tag_field="kind", tag="add_in_card_limit", frozen=True, kw_only=True):
    """Peaks up to the limit of the add-in card standard: 3 times at 100 us, 1 at one second."""


class MeasuredExcursion(Part, tag_field="kind", tag="measured", frozen=True, kw_only=True):
    """Peaks as measured: the highest mean over any window of this length, over sustained power.

    A long window cannot average more than a shorter one; where it is said to, the shorter
    window is raised.
    """

    peak_over_sustained_100_us: PeakOverSustained
    peak_over_sustained_1_ms: PeakOverSustained
    peak_over_sustained_10_ms: PeakOverSustained
    peak_over_sustained_100_ms: PeakOverSustained


class NoExcursion(Part, tag_field="kind", tag="none", frozen=True, kw_only=True):
    """A card that never draws more than its sustained power."""


Excursion = AddInCardLimit | MeasuredExcursion | NoExcursion


class Card(Part, frozen=True, kw_only=True):
    """Equal add-in cards, each with its sustained power from slot and cables together."""

    name: Name = "card"
    sustained_w: Annotated[float, quantity("W", 1.0, 1000.0, "Mean over any one second")]
    count: Annotated[int, whole(1, 8, "Equal cards")] = 1
    excursion: Excursion = AddInCardLimit()
    relative_uncertainty: RelativeUncertainty = 0.05


class Load(Part, frozen=True, kw_only=True):
    """Any other load with a peak of its own, such as a second processor or a bank of drives.

    The peak lasts up to 10 ms; anything beyond a second is sustained.
    """

    name: Name = "load"
    sustained_w: Annotated[float, quantity("W", 0.0, 3000.0, "Longest-lasting full power")]
    peak_over_sustained: ShortPeak = 1.0
    relative_uncertainty: RelativeUncertainty = 0.05


class PublishedStaircase(
    Part, tag_field="kind", tag="published_staircase", frozen=True, kw_only=True
):
    """A supply declared to carry the published excursions.

    The upper column holds above 450 W with a high-power card connector, else the lower.
    """

    high_power_connector: bool


class LegacyFlat(Part, tag_field="kind", tag="legacy_flat", frozen=True, kw_only=True):
    """A supply without a statement on excursions, trusted with one factor up to 100 ms."""

    factor: Annotated[float, quantity("1", 1.0, 1.1, "Power for up to 100 ms over rated")] = 1.0


class LegacyLowerColumn(
    Part, tag_field="kind", tag="legacy_lower_column", frozen=True, kw_only=True
):
    """A supply without a statement on excursions, trusted with the lower published column."""


class NoAllowance(Part, tag_field="kind", tag="none", frozen=True, kw_only=True):
    """A supply that must never give more than its rated power."""


Allowance = PublishedStaircase | LegacyFlat | LegacyLowerColumn | NoAllowance


class EfficiencyTier(Part, tag_field="kind", tag="tier", frozen=True, kw_only=True):
    """Efficiency by the least values of the public 80-percent programme."""

    tier: Annotated[
        Literal["base", "bronze", "silver", "gold", "platinum", "titanium"],
        words("Tier that the supply is certified for"),
    ]
    certified_at: Annotated[
        Literal["115_v", "230_v"], words("Mains voltage of the certificate")
    ] = "115_v"


class EfficiencyPoint(Part, frozen=True, kw_only=True):
    """One measured point of the efficiency."""

    load_fraction: Annotated[float, quantity("1", 0.01, 1.0, "Output over rated power")]
    efficiency: Annotated[float, quantity("1", 0.3, 0.99, "Output over mains power")]


class EfficiencyPoints(Part, tag_field="kind", tag="points", frozen=True, kw_only=True):
    """Efficiency by measured points, in any order, no two at one load."""

    points: Annotated[tuple[EfficiencyPoint, ...], Meta(min_length=1, max_length=20)]


Efficiency = EfficiencyTier | EfficiencyPoints

StandardRatingW = Annotated[float, quantity("W", 50.0, 5000.0, "A rating that is sold")]


class Supply(Part, frozen=True, kw_only=True):
    """A power supply and the mains that feed it."""

    name: Name = "supply"
    rated_w: Annotated[float, quantity("W", 100.0, 3000.0, "Continuous direct-current output")]
    allowance: Allowance
    rated_temperature_c: Annotated[
        float, quantity("degC", 30.0, 70.0, "Inlet air up to which the rating holds")
    ] = 50.0
    derate_per_k: Annotated[
        float, quantity("1/K", 0.0, 0.05, "Share of the rating lost for each kelvin above that")
    ] = 0.025
    efficiency: Efficiency
    mains_voltage_v: Annotated[float, quantity("V", 90.0, 264.0, "Mains voltage, RMS")]
    power_factor: Annotated[float, quantity("1", 0.5, 1.0, "Power factor at this load")] = 0.95
    standard_ratings_w: Annotated[tuple[StandardRatingW, ...], Meta(max_length=30)] = (
        450.0,
        550.0,
        650.0,
        750.0,
        850.0,
        1000.0,
        1200.0,
        1300.0,
        1500.0,
        1600.0,
    )


class SupplyHeadroomQuestion(Question, frozen=True, kw_only=True):
    """Is the supply enough at every length of peak, and is every plug within its rating?

    The margin fraction stands for ageing and change; it is added once, after the peaks.
    """

    processor: Processor
    cards: Annotated[tuple[Card, ...], Meta(max_length=8)] = ()
    others: Annotated[tuple[Load, ...], Meta(max_length=16)] = ()
    rest_w: Annotated[float, quantity("W", 1.0, 2000.0, "Board, memory, drives, pump and fans")]
    rest_relative_uncertainty: RelativeUncertainty = 0.2
    supply: Supply
    inlet_c: Annotated[float, quantity("degC", -20.0, 70.0, "Air that enters the supply")]
    altitude_m: AltitudeM = 0.0
    connectors: Annotated[tuple[Connector, ...], Meta(max_length=12)] = ()
    margin_fraction: Fraction = 0.10
    confidence: Confidence = 0.95
    uncertainty: SupplyUncertainty | None = SupplyUncertainty()


class WindowState(State, frozen=True, kw_only=True):
    """Demand and capacity over one length of peak.

    `recovery_level_w` is the level between peaks of full capacity, repeated at the duty of
    the published test, that keeps the RMS at the derated rating; absent without a test.
    """

    window: Window
    demand_w: Power
    capacity_w: Power
    allowance_factor: Annotated[
        float, quantity("1", 1.0, 2.0, "Power allowed in this window over the derated rating")
    ]
    required_power_w: Power
    recovery_level_w: Power | None = None


class MainsState(State, frozen=True, kw_only=True):
    """What the supply takes from the mains at sustained load; all of it warms the room."""

    load_fraction: Share
    efficiency: Share
    power_w: Power
    apparent_power_va: Annotated[float, quantity("V A", 0.0, 1e7, "Apparent power")]
    current_a: Current
    heat_from_supply_w: Power
    heat_to_room_w: Power


class ConnectorState(State, frozen=True, kw_only=True):
    """Currents and drops of one connector; pins count from 1 in the order of the question.

    `wire_drop_v` is that of the wires alone, `drop_v` includes the contacts; both are out
    and back. `hottest_pin_rise_k` is absent above 100 K, where its law ends.
    `branch_spread_allowed` is the largest over the smallest wire-and-contact resistance
    that still keeps the hottest pin within rating; absent where no spread can overload it.
    """

    connector: Name
    live_pins: Count
    mean_current_a: Current
    rms_current_a: Current
    rms_limit_a: Current | None
    peak_duty_allowed: Share | None
    pin_mean_currents_a: Annotated[tuple[Current, ...], Meta(max_length=24)]
    hottest_pin: Count
    hottest_pin_rms_current_a: Current
    pin_rating_a: Current
    hottest_pin_rise_k: Difference | None
    branch_spread_allowed: Number | None
    wire_drop_v: Voltage
    drop_v: Voltage
    loss_w: Power


class HeadroomState(State, frozen=True, kw_only=True):
    """Windows, ratings, mains and connectors.

    The required power is before margin and derate, the required rating after both, with
    the allowance of the supply in question. The next common rating is the smallest whose
    own allowance and derate suffice. `mains` is absent when the supply cannot carry the
    sustained load, `required_rating_w` when the inlet leaves no rating at all.
    """

    windows: Annotated[tuple[WindowState, ...], Meta(max_length=6)]
    governing_window: Window
    allowance_column: Literal["upper", "lower", "flat", "none"]
    sustained_w: Power
    sustained_uncertainty_w: Power
    full_rating_up_to_c: Temperature
    derate_factor: Share
    required_power_w: Power
    required_power_with_margin_w: Power
    required_rating_w: Power | None
    next_common_rating_w: Power | None
    mains: MainsState | None
    connectors: Annotated[tuple[ConnectorState, ...], Meta(max_length=12)]
    simulation: Simulation | None = None


class SupplyHeadroomAnswer(Answer, frozen=True, kw_only=True):
    """Headroom in every window, the rating needed, and the state of mains and plugs."""

    question: SupplyHeadroomQuestion
    state: HeadroomState
