"""The noise question that a whole machine poses, when somebody listens to it."""

from collections.abc import Iterator

from loopmargin_service.questions import noise, parts
from loopmargin_service.questions.refusals import Fault, Refusal
from loopmargin_wire.answer import Note
from loopmargin_wire.noise import NoiseAnswer, NoiseMaker, NoiseQuestion, NoisyFans, NoisyPump
from loopmargin_wire.part import Fans, Pump
from loopmargin_wire.sound import Listener
from loopmargin_wire.steady_state import FannedRadiator, SteadyStateQuestion
from loopmargin_wire.uncertainty import NoiseUncertainty


def machine_noise(
    question: SteadyStateQuestion, asked: NoiseUncertainty | None = None
) -> NoiseAnswer | None:
    """Ask how loud the machine is, if it has a listener."""
    if question.listener is None:
        return None
    return noise.answer(noise_question(question, question.listener, asked))


def noise_question(
    question: SteadyStateQuestion, listener: Listener, asked: NoiseUncertainty | None = None
) -> NoiseQuestion:
    """Collect every fan and pump of a machine; one without sound would make a promise void."""
    silent: list[Fault] = []
    sources: list[NoiseMaker] = []
    for number, pump in enumerate(question.pumps):
        sources += _pump(pump, ("pumps", number), silent)
    for name, fans, path in _all_fans(question):
        sources += _fans(name, fans, (*path, "fan"), silent)
    if silent:
        raise Refusal(*silent)
    return NoiseQuestion(
        room=question.room,
        sources=tuple(sources),
        listener=listener,
        confidence=question.confidence,
        uncertainty=asked,
    )


def noise_notes(answer: NoiseAnswer) -> tuple[Note, ...]:
    """Give the notes of the noise; only the listener stands at the same place in the machine."""
    return tuple(
        note if note.pointer.startswith("/listener") else Note(code=note.code, text=note.text)
        for note in answer.notes
    )


def _all_fans(question: SteadyStateQuestion) -> Iterator[tuple[str, Fans, parts.Path]]:
    """Give all fans of radiators and case, under the name of what they stand on."""
    for row, branch in enumerate(question.branches):
        for step, element in enumerate(branch.elements):
            if isinstance(element, FannedRadiator):
                yield element.name, element.fans, ("branches", row, "elements", step, "fans")
    for number, given in enumerate(question.case.fans):
        yield given.name, given.fans, ("case", "fans", number, "fans")


def _fans(name: str, fans: Fans, path: parts.Path, silent: list[Fault]) -> list[NoiseMaker]:
    """Turn fans into a source, or say that their sound is missing."""
    fan = fans.fan
    if fan.sound is None:
        silent.append(_missing(fan.name, path))
        return []
    return [
        NoisyFans(
            name=name,
            sound=fan.sound,
            count=fans.count,
            speed_rpm=fans.speed_rpm,
            level_per_decade_db=fan.level_per_decade_db,
            installation_noise_db=fans.installation_noise_db,
        )
    ]


def _pump(pump: Pump, path: parts.Path, silent: list[Fault]) -> list[NoiseMaker]:
    """Turn a pump into a source, or say that its sound is missing."""
    if pump.sound is None:
        silent.append(_missing(pump.name, path))
        return []
    return [
        NoisyPump(
            name=pump.name,
            sound=pump.sound,
            speed_rpm=pump.speed_rpm,
            level_per_decade_db=pump.level_per_decade_db,
            installation_noise_db=pump.installation_noise_db,
        )
    ]


def _missing(name: str, path: parts.Path) -> Fault:
    return Fault(
        (*path, "sound"),
        f"there is a listener, but {name} has no sound; give its level, or leave out the listener",
    )
