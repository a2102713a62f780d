"""`noise`: level of every source and of the machine at the listener."""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from loopmargin_service.physics import sound
from loopmargin_service.questions import noise_draws, wording
from loopmargin_service.questions.edition import EDITION
from loopmargin_service.questions.margins import margin
from loopmargin_service.questions.noise_draws import DrawnLevels
from loopmargin_service.questions.noise_levels import at_listener, measured_dba
from loopmargin_service.questions.noise_notes import BASIS, noise_notes
from loopmargin_service.questions.spreads import standard_uncertainty, support_notes
from loopmargin_wire.answer import Margin, Outcome
from loopmargin_wire.noise import (
    LevelPoint,
    NoiseAnswer,
    NoiseQuestion,
    NoiseState,
    NoisyFans,
    SourceLevel,
)

CRITERION = "noise at the listener"
# Common factors on the speed of all fans; the first is the machine as asked.
FACTORS = np.array([1.0, *np.arange(30, 121, 5) / 100.0])
AS_ASKED = 0
SLOWEST = 1

Array = NDArray[np.float64]


class Heard(NamedTuple):
    """Levels at the listener; the second axis is the factor on the fans. [dB]

    `sources` is (sources, factors), all equal devices of a source together; `machine` is
    (factors,); `share` is that of each source in the energy of the machine as asked. [-]
    """

    sources: Array
    machine: Array
    share: Array


def answer(question: NoiseQuestion) -> NoiseAnswer:
    """Add up the sources at the listener and judge what is allowed there."""
    heard = levels(question)
    drawn = noise_draws.draw(question)
    state = _state(question, heard, drawn)
    judged = _margin(question, state, drawn)
    return NoiseAnswer(
        edition=EDITION,
        outcome=_outcome(question, heard, state, judged),
        margins=(judged,),
        basis=BASIS,
        notes=(*noise_notes(question, state), *support_notes(state.simulation)),
        cautions=(wording.FAN_CAUTION, wording.ESTIMATE_CAUTION),
        question=question,
        state=state,
    )


def levels(question: NoiseQuestion) -> Heard:
    """Give the level of every source and of all together at the listener."""
    rows = [
        at_listener(source, question.room, question.listener, FACTORS)
        for source in question.sources
    ]
    sources = np.stack(rows)
    machine = sound.level_sum(sources)
    share = np.power(10.0, 0.1 * (sources[:, AS_ASKED] - machine[AS_ASKED]))
    return Heard(sources, machine, share)


def _state(question: NoiseQuestion, heard: Heard, drawn: DrawnLevels | None) -> NoiseState:
    """Describe the machine at the listener."""
    listener = question.listener
    level = float(heard.machine[AS_ASKED])
    loudest = question.sources[int(heard.share.argmax())]
    together = _with_background(heard.machine, listener.background_dba)
    above = correction = None
    if together is not None and listener.background_dba is not None:
        above = float(together[AS_ASKED]) - listener.background_dba
        correction = float(sound.background_correction(above))
    return NoiseState(
        level_dba=level,
        standard_uncertainty_db=None if drawn is None else standard_uncertainty(drawn.machine),
        with_background_dba=None if together is None else float(together[AS_ASKED]),
        above_background_db=above,
        background_correction_db=correction,
        dominating_source=loudest.name,
        sources=_sources(question, heard),
        curve=_curve(question, heard.machine, together),
        simulation=noise_draws.described(question, drawn),
    )


def _with_background(machine: Array, background: float | None) -> Array | None:
    """Give what a meter shows, where the background is known. [dB]"""
    if background is None:
        return None
    return sound.level_sum(np.stack([machine, np.full_like(machine, background)]))


def _sources(question: NoiseQuestion, heard: Heard) -> tuple[SourceLevel, ...]:
    """Describe every source."""
    return tuple(
        SourceLevel(
            source=source.name,
            kind="fan" if isinstance(source, NoisyFans) else "pump",
            count=source.count,
            speed_rpm=source.speed_rpm,
            speed_ratio=source.speed_rpm / source.sound.speed_rpm,
            measured_dba=measured_dba(source.sound),
            level_dba=float(level),
            # Rounding may lift the share of a lone source above one.
            share=min(float(share), 1.0),
        )
        for source, level, share in zip(
            question.sources, heard.sources[:, AS_ASKED], heard.share, strict=True
        )
    )


def _curve(
    question: NoiseQuestion, machine: Array, together: Array | None
) -> tuple[LevelPoint, ...]:
    """Draw the level over the common factor of the fans, where there are any."""
    if not any(isinstance(source, NoisyFans) for source in question.sources):
        return ()
    return tuple(
        LevelPoint(
            fan_speed_factor=float(factor),
            level_dba=float(machine[number]),
            with_background_dba=None if together is None else float(together[number]),
        )
        for number, factor in enumerate(FACTORS)
        if number != AS_ASKED
    )


def _margin(question: NoiseQuestion, state: NoiseState, drawn: DrawnLevels | None) -> Margin:
    """Judge the machine alone against what is allowed."""
    allowed = question.listener.allowed_dba
    left = None if drawn is None else allowed - drawn.machine
    return margin(CRITERION, state.level_dba, allowed, "dBA", question.confidence, left)


def _outcome(question: NoiseQuestion, heard: Heard, state: NoiseState, judged: Margin) -> Outcome:
    """Say what is too loud and what would help."""
    if judged.verdict != "fails":
        return Outcome(status="solved")
    allowed = question.listener.allowed_dba
    quiet = [point.fan_speed_factor for point in state.curve if point.level_dba <= allowed]
    if quiet:
        help_ = f"Run all fans at {max(quiet):g} of these speeds, and check that it stays cool."
    else:
        left = question.sources[int(heard.sources[:, SLOWEST].argmax())].name
        help_ = (
            f"No fan speed down to {FACTORS[SLOWEST]:g} of these is enough: {left} is what is "
            "heard then; make it quieter, or sit further away."
        )
    return Outcome(
        status="solved",
        reason=f"fails: {CRITERION}; the loudest is {state.dominating_source}",
        advice=(help_,),
    )
