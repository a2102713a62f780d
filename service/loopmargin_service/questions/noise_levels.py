"""The level of one source, carried from where it was measured to the listener."""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from loopmargin_service.physics import air, sound
from loopmargin_service.questions import parts
from loopmargin_service.questions.conversion import kelvin
from loopmargin_wire.noise import NoiseMaker, NoisyFans
from loopmargin_wire.part import Room
from loopmargin_wire.sound import Listener, SoundDba, SoundOctaves, SoundSource, Surroundings

DIRECTIVITY: dict[Surroundings, float] = {
    "free_field": 1.0,
    "over_floor": 2.0,
    "wall_and_floor": 4.0,
}

Array = NDArray[np.float64]


class Error(NamedTuple):
    """What the level of a source is off by: on the device, for a tenfold speed, installed. [dB]"""

    device: Array | float = 0.0
    per_decade: Array | float = 0.0
    installed: Array | float = 0.0


NO_ERROR = Error()


def measured_dba(given: SoundSource) -> float:
    """Give the A-weighted level that a device was measured with, without its floor. [dB]"""
    if isinstance(given, SoundDba):
        return given.level_dba
    count = np.arange(len(given.levels_db))
    if isinstance(given, SoundOctaves):
        frequency = sound.octave_frequency(sound.LOWEST_OCTAVE + count)
    else:
        frequency = sound.third_octave_frequency(sound.LOWEST_THIRD_OCTAVE + count)
    return float(sound.a_weighted_level(np.array(given.levels_db), frequency))


def at_listener(
    source: NoiseMaker, room: Room, listener: Listener, factors: Array, error: Error = NO_ERROR
) -> Array:
    """Carry a source to the listener, at every factor on the speed of fans. [dB]"""
    given = source.sound
    is_fan = isinstance(source, NoisyFans)
    ratio = source.speed_rpm / given.speed_rpm * (factors if is_fan else np.ones_like(factors))
    level = measured_dba(given) + sound.speed_change(
        ratio, source.level_per_decade_db + error.per_decade
    )
    if is_fan:
        level = level + sound.density_change(_density(room))
    if given.floor_dba is not None:
        level = sound.level_sum(np.stack([level, np.full_like(level, given.floor_dba)]))
    there = sound.radiated_level(0.0, listener.distance_m, DIRECTIVITY[listener.surroundings])
    then = sound.radiated_level(0.0, given.distance_m, DIRECTIVITY[given.surroundings])
    beside = sound.equal_sources(source.count)
    installed = source.installation_noise_db + error.installed
    return np.asarray(level + (there - then) + beside + installed + error.device)


def _density(room: Room) -> Array:
    """Give the density of the room's air. [kg/m3]"""
    return air.density(parts.room_pressure(room), kelvin(room.air_c))
