"""Levels drawn at random: devices each for itself, laws and installation alike for a family."""

import math
from collections.abc import Iterator
from typing import NamedTuple

import numpy as np

from loopmargin_service.physics import sound
from loopmargin_service.physics.network import Array
from loopmargin_service.questions import draws, uncertainty
from loopmargin_service.questions.draws import Cause, Draws
from loopmargin_service.questions.noise_levels import Error, at_listener
from loopmargin_service.questions.spreads import Quantity, simulation
from loopmargin_wire.noise import NoiseMaker, NoiseQuestion, NoisyFans
from loopmargin_wire.uncertainty import NoiseUncertainty, Simulation


class DrawnLevels(NamedTuple):
    """The machine's level at the listener in every draw, (draws,). [dB]"""

    draws: Draws
    machine: Array


def draw(question: NoiseQuestion) -> DrawnLevels | None:
    """Draw every source, if that is asked for."""
    asked = question.uncertainty
    if asked is None:
        return None
    drawn = draws.draw(question, asked, _causes(question, asked))
    rows = [
        at_listener(
            source,
            question.room,
            question.listener,
            np.ones(drawn.size),
            _error(drawn, _device(source, row), _family(source)),
        )
        for row, source in enumerate(question.sources)
    ]
    return DrawnLevels(drawn, sound.level_sum(np.stack(rows)))


def _causes(question: NoiseQuestion, asked: NoiseUncertainty) -> Iterator[Cause]:
    """List what is uncertain; equal devices of a source average out."""
    families = sorted({_family(source) for source in question.sources})
    for family in families:
        yield uncertainty.cause(asked, f"{family}_speed_law_db", f"speed law of {family}s")
        yield uncertainty.cause(asked, "installation_db", f"installation of {family}s")
    for row, source in enumerate(question.sources):
        fewer = 1.0 / math.sqrt(source.count)
        yield uncertainty.cause(asked, "device_db", _device(source, row), widened=fewer)


def _family(source: NoiseMaker) -> str:
    """Name the family that errs alike."""
    return "fan" if isinstance(source, NoisyFans) else "pump"


def _device(source: NoiseMaker, row: int) -> str:
    """Give the level of every source a name of its own."""
    return f"level of {source.name} ({row + 1})"


def _error(drawn: Draws, device: str, family: str) -> Error:
    """Give what a source is off by in every draw. [dB]"""
    return Error(
        drawn.offset(device),
        drawn.offset(f"speed law of {family}s"),
        drawn.offset(f"installation of {family}s"),
    )


def described(question: NoiseQuestion, drawn: DrawnLevels | None) -> Simulation | None:
    """Describe the draws, if there are any."""
    if drawn is None:
        return None
    rows = [Quantity("noise at the listener", "dBA", drawn.machine)]
    return simulation(drawn.draws, rows, question.confidence)
