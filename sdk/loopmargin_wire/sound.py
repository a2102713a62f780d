"""Sound of fans and pumps as measured, and the place where it is listened to.

A level belongs to a speed, a distance and surroundings. A declared sound power level is
11 dB above the level at 1 m in a free field.
"""

from typing import Annotated, Literal

from msgspec import Meta

from loopmargin_wire.quantity import SpeedRpm, quantity, words
from loopmargin_wire.strict import Part

LevelDba = Annotated[float, quantity("dBA", 0.0, 140.0, "A-weighted sound pressure level")]
BandLevelDb = Annotated[
    float, quantity("dB", -20.0, 140.0, "Unweighted sound pressure level of one band")
]
DistanceM = Annotated[float, quantity("m", 0.1, 50.0, "Distance")]
FanLevelPerDecadeDb = Annotated[
    float, quantity("dB", 50.0, 60.0, "Rise of a fan's level for a tenfold speed")
]
PumpLevelPerDecadeDb = Annotated[
    float, quantity("dB", 30.0, 50.0, "Rise of a pump's level for a tenfold speed")
]
FanInstallationDb = Annotated[
    float,
    quantity("dB", 0.0, 10.0, "Rise of a fan's level by radiator, grille and case"),
]
PumpInstallationDb = Annotated[
    float,
    quantity("dB", -6.0, 10.0, "Change of a pump's level by mounting and case"),
]
Surroundings = Annotated[
    Literal["free_field", "over_floor", "wall_and_floor"],
    words(
        "What throws the sound back: nothing, the floor, or a wall and the floor; each surface "
        "doubles what is heard, by 3 dB"
    ),
]


class MeasuredSound(Part, frozen=True, kw_only=True):
    """How one device was measured.

    The floor is the level that bearings and motor add at every speed, on top of the level
    that follows the speed.
    """

    speed_rpm: SpeedRpm
    distance_m: DistanceM = 1.0
    surroundings: Surroundings = "free_field"
    floor_dba: LevelDba | None = None


class SoundDba(MeasuredSound, tag_field="kind", tag="dba", frozen=True, kw_only=True):
    """The sound of one device by its A-weighted level."""

    level_dba: LevelDba


class SoundOctaves(MeasuredSound, tag_field="kind", tag="octave_bands", frozen=True, kw_only=True):
    """The sound of one device by unweighted octave bands: 63, 125, 250 Hz and on, up to 8 kHz."""

    levels_db: Annotated[tuple[BandLevelDb, ...], Meta(min_length=5, max_length=8)]


class SoundThirdOctaves(
    MeasuredSound, tag_field="kind", tag="third_octave_bands", frozen=True, kw_only=True
):
    """The sound of one device by unweighted third-octaves: 50, 63, 80 Hz and on, up to 10 kHz."""

    levels_db: Annotated[tuple[BandLevelDb, ...], Meta(min_length=14, max_length=24)]


SoundSource = SoundDba | SoundOctaves | SoundThirdOctaves


class Listener(Part, frozen=True, kw_only=True):
    """Where the machine is listened to, and how loud it may be there.

    What is allowed is compared with the machine alone, without the background.
    """

    distance_m: DistanceM = 1.0
    surroundings: Surroundings = "over_floor"
    background_dba: LevelDba | None = None
    allowed_dba: LevelDba
