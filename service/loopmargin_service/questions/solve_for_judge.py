"""How a machine stands at one value of what is sought: as `steady-state` answers it there.

The draws are the same at every value, so the boundary between them is not blurred by luck.
"""

from collections.abc import Callable
from functools import cached_property
from typing import NamedTuple

from loopmargin_service.questions import machine_draws, steady_state
from loopmargin_service.questions.affinity import TOO_FAST
from loopmargin_service.questions.refusals import Refusal
from loopmargin_service.questions.sweep_axes import Change, applied
from loopmargin_wire.answer import Margin
from loopmargin_wire.steady_state import SteadyStateAnswer, SteadyStateQuestion

# Margins that say the same as another one, or that are met once and for all while the loop is
# filled and bled. The search goes by all others.
NOT_SOUGHT = (
    "conductance from coolant to room",
    "head at the required flow",
    "velocity that carries air",
    "suction head",
)
# What is named instead of a criterion where there are no numbers to judge.
UNSETTLED = "the settling of flow, air and heat together"
REFUSED = "the machine cannot be"
# Surpluses closer than this to each other, in parts of what was allowed, are alike. [-]
ALIKE = 1e-6


class Standing(NamedTuple):
    """How one criterion stands, in the order from worse to better.

    `chance` is 0 or 1 where nothing was drawn; `surplus` is in parts of what was allowed.
    """

    met: bool
    chance: float
    surplus: float


class Judged:
    """One value, and the answer or the refusal of the machine there."""

    def __init__(self, value: float, found: SteadyStateAnswer | Refusal) -> None:
        self.value = value
        self.refusal = found if isinstance(found, Refusal) else None
        self.answer = None if isinstance(found, Refusal) else found

    @cached_property
    def margins(self) -> tuple[Margin, ...]:
        """Give the margins that the search goes by."""
        found = self.answer.margins if self.answer else ()
        return tuple(one for one in found if not one.criterion.startswith(NOT_SOUGHT))

    @cached_property
    def trouble(self) -> str:
        """Say why there are no numbers to judge; empty where there are."""
        if self.answer is None:
            return f"{REFUSED}: {self.refusal}"[:2000]
        outcome = self.answer.outcome
        if outcome.status == "solved":
            return ""
        return UNSETTLED if outcome.status == "not_converged" else outcome.reason

    @cached_property
    def standings(self) -> dict[str, Standing]:
        """Give how every criterion stands; of two with one name the worse."""
        found: dict[str, Standing] = {}
        for one in self.margins:
            standing = self._standing(one)
            found[one.criterion] = min(standing, found.get(one.criterion, standing))
        return found

    @cached_property
    def failing(self) -> frozenset[str]:
        """Name what fails; trouble by its kind, as it has no better and worse."""
        missed = {name for name, standing in self.standings.items() if not standing.met}
        if self.trouble:
            kinds = (REFUSED, TOO_FAST)
            missed.add(next((one for one in kinds if self.trouble.startswith(one)), UNSETTLED))
        return frozenset(missed)

    @property
    def holds(self) -> bool:
        """Tell whether every criterion is met."""
        return not self.failing

    @cached_property
    def worst(self) -> str:
        """Name the criterion that stands worst, or the trouble."""
        return self.trouble or min(self.standings, key=self.standings.__getitem__)

    @cached_property
    def worst_margin(self) -> Margin | None:
        """Give the margin that stands worst, where there are numbers."""
        if self.trouble:
            return None
        named = [one for one in self.margins if one.criterion == self.worst]
        return min(named, key=self._standing)

    @property
    def rank(self) -> tuple[bool, Standing]:
        """Give how close it comes to holding, from worse to better."""
        if self.trouble:
            return False, Standing(met=False, chance=0.0, surplus=0.0)
        return True, self.standings[self.worst]

    def _standing(self, one: Margin) -> Standing:
        chance = float(one.surplus >= 0.0) if one.chance is None else one.chance
        least = 1e-9
        demand, capacity = one.demand, one.capacity
        if one.unit == "degC" and self.answer is not None:
            room_c = self.answer.question.room.air_c
            demand, capacity, least = demand - room_c, capacity - room_c, 1.0
        allowed = max(abs(demand), abs(capacity), least)
        return Standing(
            one.verdict == "meets", chance, round(one.surplus / allowed / ALIKE) * ALIKE
        )


Judge = Callable[[float], Judged]


class MachineJudge:
    """Judges a machine at one value of the unknown after another, with the same draws."""

    def __init__(self, question: SteadyStateQuestion, change: Change) -> None:
        self.change = change
        self.seed = machine_draws.doubts_of(question).seed or None
        self._question = question

    def named(self, value: float) -> str | None:
        """Name the element that a value stands for, where elements are sought."""
        if not isinstance(self.change.values[0], dict):
            return None
        return str(self.change.values[int(value)]["name"])

    def __call__(self, value: float) -> Judged:
        """Judge one value; a machine that cannot be is one that does not hold."""
        put = self.change.values[int(value)] if self.named(value) else value
        try:
            there = applied(self._question, self.change, put)
            return Judged(value, steady_state.answer(there, seed=self.seed))
        except Refusal as refusal:
            return Judged(value, refusal)
