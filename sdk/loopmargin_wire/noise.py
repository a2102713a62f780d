"""`noise`: how loud is the machine where somebody sits?"""

from typing import Annotated, Literal

from msgspec import Meta

from loopmargin_wire.answer import Answer, Question, State
from loopmargin_wire.part import Room
from loopmargin_wire.quantity import (
    Confidence,
    Count,
    Name,
    Number,
    Share,
    Speed,
    SpeedRpm,
    quantity,
    whole,
)
from loopmargin_wire.sound import (
    FanInstallationDb,
    FanLevelPerDecadeDb,
    Listener,
    PumpInstallationDb,
    PumpLevelPerDecadeDb,
    SoundSource,
)
from loopmargin_wire.strict import Part
from loopmargin_wire.uncertainty import NoiseUncertainty, Simulation

Level = Annotated[float, quantity("dBA", -1e12, 1e12, "A-weighted sound pressure level")]
Decibels = Annotated[float, quantity("dB", -1e12, 1e12, "Difference of levels")]


class NoisyFans(Part, tag_field="kind", tag="fan", frozen=True, kw_only=True):
    """Equal fans at one speed; the sound is that of one of them."""

    name: Name = "fans"
    sound: SoundSource
    count: Annotated[int, whole(1, 100, "Equal fans")] = 1
    speed_rpm: SpeedRpm
    level_per_decade_db: FanLevelPerDecadeDb = 55.0
    installation_noise_db: FanInstallationDb = 3.0


class NoisyPump(Part, tag_field="kind", tag="pump", frozen=True, kw_only=True):
    """A pump, or equal ones at one speed; the sound is that of one of them."""

    name: Name = "pump"
    sound: SoundSource
    count: Annotated[int, whole(1, 100, "Equal pumps")] = 1
    speed_rpm: SpeedRpm
    level_per_decade_db: PumpLevelPerDecadeDb = 40.0
    installation_noise_db: PumpInstallationDb = 0.0


NoiseMaker = NoisyFans | NoisyPump


class NoiseQuestion(Question, frozen=True, kw_only=True):
    """How loud is a machine at the listener, by its fans and pumps?"""

    room: Room
    sources: Annotated[tuple[NoiseMaker, ...], Meta(min_length=1, max_length=40)]
    listener: Listener
    confidence: Confidence = 0.95
    uncertainty: NoiseUncertainty | None = NoiseUncertainty()


class SourceLevel(State, frozen=True, kw_only=True):
    """One source at the listener, all equal devices of it together."""

    source: Name
    kind: Literal["fan", "pump"]
    count: Count
    speed_rpm: Speed
    speed_ratio: Annotated[Number, Meta(description="Speed over the speed of measurement [1]")]
    measured_dba: Level
    level_dba: Level
    share: Share


class LevelPoint(State, frozen=True, kw_only=True):
    """The machine with all fans at a common factor of their speeds; pumps stay as they are."""

    fan_speed_factor: Annotated[Number, Meta(description="Fan speeds over those asked about [1]")]
    level_dba: Level
    with_background_dba: Level | None = None


class NoiseState(State, frozen=True, kw_only=True):
    """The machine at the listener.

    `with_background_dba` is what a meter shows there, `above_background_db` how far that is
    above the background alone, and `background_correction_db` what to subtract from the
    meter for a comparison; all three are absent without a background. The standard
    uncertainty is absent when nothing was drawn. The curve is empty without fans.
    """

    level_dba: Level
    standard_uncertainty_db: Decibels | None
    with_background_dba: Level | None = None
    above_background_db: Decibels | None = None
    background_correction_db: Decibels | None = None
    dominating_source: Name
    sources: Annotated[tuple[SourceLevel, ...], Meta(max_length=1600)]
    curve: Annotated[tuple[LevelPoint, ...], Meta(max_length=100)]
    simulation: Simulation | None = None


class NoiseAnswer(Answer, frozen=True, kw_only=True):
    """Level of every source and of the machine, the margin to what is allowed, and the curve."""

    question: NoiseQuestion
    state: NoiseState
