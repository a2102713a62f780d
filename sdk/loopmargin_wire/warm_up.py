"""`warm-up`: a machine on its way to equilibrium, and without its pumps or fans."""

from typing import Annotated, Literal

from msgspec import Meta

from loopmargin_wire.answer import Answer, Question, State
from loopmargin_wire.part import Part
from loopmargin_wire.quantity import Conductance, Difference, Name, Temperature, quantity
from loopmargin_wire.steady_state import SteadyStateQuestion
from loopmargin_wire.uncertainty import Simulation, WarmUpUncertainty

Seconds = Annotated[float, quantity("s", 0.0, 1e12, "Time")]
Volume = Annotated[float, quantity("mL", 0.0, 1e12, "Volume")]
HeatCapacity = Annotated[float, quantity("J/K", 0.0, 1e12, "Heat capacity")]
Slope = Annotated[float, quantity("K/min", -1e12, 1e12, "Change of temperature with time")]
PartCoolantMl = Annotated[float, quantity("mL", 1.0, 5000.0, "Coolant inside the part")]
MetalKg = Annotated[float, quantity("kg", 0.0, 50.0, "Mass of a metal")]


class BlockStore(Part, frozen=True, kw_only=True):
    """What the blocks of one name are made of; blocks that are not listed have the defaults."""

    block: Name
    copper_kg: MetalKg = 0.25
    brass_kg: MetalKg = 0.0
    aluminium_kg: MetalKg = 0.0
    coolant_ml: PartCoolantMl = 20.0


class RadiatorStore(Part, frozen=True, kw_only=True):
    """What the radiators of one name are made of; others have the defaults.

    The still conductance is what a radiator passes on while its fans stand.
    """

    radiator: Name
    copper_kg: MetalKg = 0.4
    brass_kg: MetalKg = 0.4
    aluminium_kg: MetalKg = 0.0
    coolant_ml: PartCoolantMl = 100.0
    still_conductance_w_per_k: Annotated[
        float, quantity("W/K", 0.05, 50.0, "Conductance without fans")
    ] = 1.5


class WarmUpQuestion(Question, frozen=True, kw_only=True):
    """How long until the machine settles, and how long does it last without pump or fans?

    Coolant that is not given is that of tubes, blocks, radiators and a reservoir of 150 mL.
    Times have an uncertainty of their own here; that of the machine is not drawn.
    """

    machine: SteadyStateQuestion
    coolant_volume_ml: (
        Annotated[float, quantity("mL", 20.0, 100_000.0, "Coolant in the whole loop")] | None
    ) = None
    blocks: Annotated[tuple[BlockStore, ...], Meta(max_length=32)] = ()
    radiators: Annotated[tuple[RadiatorStore, ...], Meta(max_length=32)] = ()
    plastic_kg: Annotated[
        float, quantity("kg", 0.0, 50.0, "Plastics that the coolant wets: reservoir, tops, tubes")
    ] = 0.3
    plastic_fraction: Annotated[
        float, quantity("1", 0.0, 1.0, "Share of the plastics that warms with the coolant")
    ] = 0.5
    reading_error_fraction: Annotated[
        float, quantity("1", 0.0001, 0.2, "Error left in a reading, over the rise above the room")
    ] = 0.01
    run_s: Annotated[float, quantity("s", 1.0, 86_400.0, "Run planned before a reading")] | None = (
        None
    )
    shutdown_s: Annotated[
        float, quantity("s", 0.1, 3600.0, "Time needed to notice a loss and shut down")
    ] = 60.0
    uncertainty: WarmUpUncertainty | None = WarmUpUncertainty()


class Settling(State, frozen=True, kw_only=True):
    """Rise from a cold start; a time is absent when it is longer than a day."""

    equilibrium_c: Temperature
    to_95_s: Seconds | None
    to_99_s: Seconds | None


class PartSettling(Settling, frozen=True, kw_only=True):
    """One cooled part on its way to equilibrium."""

    component: Name


class Reading(State, frozen=True, kw_only=True):
    """When a reading counts: after this run, or once the coolant changes no faster than this.

    The run is absent when it is longer than a day.
    """

    run_s: Seconds | None
    slope_k_per_min: Slope
    remaining_error_k: Difference


class ComponentTrace(State, frozen=True, kw_only=True):
    """One cooled part over time."""

    component: Name
    component_c: Annotated[tuple[Temperature, ...], Meta(max_length=121)]


class Trace(State, frozen=True, kw_only=True):
    """Temperatures over time, all lists of one length; coolant where it is hottest."""

    time_s: Annotated[tuple[Seconds, ...], Meta(max_length=121)]
    coolant_c: Annotated[tuple[Temperature, ...], Meta(max_length=121)]
    components: Annotated[tuple[ComponentTrace, ...], Meta(max_length=32)]


class LimitTime(State, frozen=True, kw_only=True):
    """When the coolant, or the component named, reaches its limit; absent when it does not."""

    limit: Literal["coolant", "component"]
    component: Name | None = None
    to_limit_s: Seconds | None


class Loss(State, frozen=True, kw_only=True):
    """What follows when all pumps, or the fans of one radiator or one place, stop at equilibrium.

    `limits` has the coolant and every component, the soonest first; a limit that is passed
    already has a time of zero, and one that is not reached within `followed_s` has none.
    """

    lost: Literal["pumps", "fans"]
    radiator: Name | None = None
    case_fans: Name | None = None
    still_conductance_w_per_k: Conductance | None = None
    limits: Annotated[tuple[LimitTime, ...], Meta(min_length=1, max_length=33)]
    followed_s: Seconds
    trace: Trace


class WarmUpState(State, frozen=True, kw_only=True):
    """Heat stored, times to settle, the start and every loss."""

    coolant_volume_ml: Volume
    heat_capacity_j_per_k: HeatCapacity
    time_constant_s: Seconds
    coolant: Settling
    components: Annotated[tuple[PartSettling, ...], Meta(max_length=32)]
    reading: Reading
    start: Trace
    losses: Annotated[tuple[Loss, ...], Meta(max_length=45)]
    simulation: Simulation | None = None


class WarmUpAnswer(Answer, frozen=True, kw_only=True):
    """Times to settle and to the first limit, with their margins."""

    question: WarmUpQuestion
    state: WarmUpState | None
