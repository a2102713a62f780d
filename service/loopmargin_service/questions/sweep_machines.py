"""The machines of a sweep, each built once, and set at each value of each axis.

What is prepared for a question stays for its next cases, in this process. Machines of an
ordinary size all stay, so that an axis that changes them may run first or last.
"""

from functools import lru_cache
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from loopmargin_service.physics import batch
from loopmargin_service.physics.machine import Equilibrium, Setting
from loopmargin_service.questions import machine_build, sweep_draws
from loopmargin_service.questions.machine_build import Built
from loopmargin_service.questions.machine_draws import Best
from loopmargin_service.questions.refusals import Refusal
from loopmargin_service.questions.sweep_axes import Change, applied, on
from loopmargin_service.questions.sweep_plan import (
    Plan,
    blocks,
    build,
    plan,
    setting_of,
    turned,
)
from loopmargin_service.questions.work import elements
from loopmargin_wire.steady_state import SteadyStateQuestion
from loopmargin_wire.sweep import SweepQuestion
from loopmargin_wire.uncertainty import Uncertainties

QUESTIONS_KEPT = 4
# What the machines of one question may take, and what one of them does. [byte]
KEPT_BYTES = 64 * 2**20
MACHINE_BYTES, ELEMENT_BYTES = 40_000, 900


class Prepared(NamedTuple):
    """One machine of the sweep, set at each value of each axis that only turns a setting.

    `axes` act on this machine. `states` and `drawn` are the places of its columns among those
    laid out, and `asked` is what is drawn about each of its cases.
    """

    laid: Plan
    question: SteadyStateQuestion
    built: Built
    base: Setting
    axes: tuple[Change, ...]
    turned: tuple[Setting | None, ...]
    impossible: tuple[dict[int, str], ...]
    limits_c: NDArray[np.float64]
    states: NDArray[np.intp]
    drawn: NDArray[np.intp]
    asked: Uncertainties | None

    def best(self, case: int, state: Equilibrium) -> Best:
        """Give the machine that a case stands for as it would be asked alone, with its state."""
        question, places = self.question, np.unravel_index(case, self.laid.shape)
        for change, place in zip(self.axes, places, strict=True):
            if change.setting:
                question = applied(question, change, change.values[int(place)])
        return Best(question, machine_build.turned(self.built, question), state)


class Machines:
    """The machines of one question, prepared when the first case wants them."""

    def __init__(self, question: SweepQuestion) -> None:
        self.laid: Plan = plan(question)
        self._question = question
        self._most = KEPT_BYTES // (MACHINE_BYTES + ELEMENT_BYTES * elements(question.machine))
        self._prepared: dict[tuple[int, ...], Prepared | str] = {}

    def at(self, fixed: tuple[int, ...]) -> Prepared | str:
        """Give the machine at some values of the axes that change it, or why there is none."""
        if fixed not in self._prepared:
            if len(self._prepared) >= self._most:
                del self._prepared[next(iter(self._prepared))]
            self._prepared[fixed] = self._prepare(fixed)
        return self._prepared[fixed]

    def _prepare(self, fixed: tuple[int, ...]) -> Prepared | str:
        asked = self._question.machine
        try:
            for axis, value in zip(self.laid.structural, fixed, strict=True):
                change = self.laid.axes[axis]
                asked = applied(asked, change, change.values[value])
            built = build(asked)
        except Refusal as error:
            return str(error)
        axes = tuple(on(asked, axis) for axis in self.laid.axes)
        settings, impossible = zip(*(_turned(asked, built, axis) for axis in axes), strict=True)
        states, drawn = self.laid.places_of(own := blocks(asked))
        return Prepared(
            self.laid,
            asked,
            built,
            setting_of(asked, built),
            axes,
            settings,
            impossible,
            np.array([item.limit_c for item in own.values()], dtype=np.float64),
            states,
            drawn,
            sweep_draws.asked_of(self._question, asked),
        )


@lru_cache(maxsize=QUESTIONS_KEPT)
def machines(question: SweepQuestion) -> Machines:
    """Give the machines of a question, with every refusal that it deserves."""
    return Machines(question)


def _turned(
    question: SteadyStateQuestion, built: Built, change: Change
) -> tuple[Setting | None, dict[int, str]]:
    """Set the machine at each value of one axis; a value that is impossible stays at the base."""
    if not change.setting:
        return None, {}
    settings, impossible = [], {}
    for number, value in enumerate(change.values):
        try:
            settings.append(turned(applied(question, change, value), built))
        except Refusal as error:
            impossible[number] = f"{change.name} at {value:g}: {error}"
            settings.append(setting_of(question, built))
    return batch.joined(settings), impossible
