"""`solve-for`: the setting at which a machine just meets its margins."""

from typing import Annotated, Literal

from msgspec import Meta

from loopmargin_wire.answer import Answer, Question, State
from loopmargin_wire.part import Part
from loopmargin_wire.quantity import Number, Share, Text, quantity, words
from loopmargin_wire.steady_state import MachineElement, MachineState, SteadyStateQuestion
from loopmargin_wire.sweep import AxisName, AxisValue, FieldPointer


class FieldRange(Part, tag_field="kind", tag="field", frozen=True, kw_only=True):
    """One numeric field of the machine, by JSON Pointer, and the range to look in.

    It may be any number that the machine states, but the number of draws: a setting, a size, the
    room, and a limit, too, such as the least /coolant_limit_c or /listener/allowed_dba that can
    be promised. A field that counts takes whole values only.
    """

    pointer: FieldPointer
    lowest: AxisValue
    highest: AxisValue


class FactorRange(Part, tag_field="kind", tag="factor", frozen=True, kw_only=True):
    """A factor on every fan speed, every pump speed or every part's power."""

    of: Annotated[
        Literal["fan_speeds", "pump_speeds", "part_powers"], words("What the factor scales")
    ]
    lowest: Annotated[float, quantity("1", 0.05, 5.0, "Smallest factor to try")] = 0.2
    highest: Annotated[float, quantity("1", 0.05, 5.0, "Largest factor to try")] = 2.0


class AlternativeRange(Part, tag_field="kind", tag="alternative", frozen=True, kw_only=True):
    """Whole elements to try in one place: the radiators in stock with their fans, the blocks.

    They stand in order from the least to the greatest, by size or by price. `pointer` leads to
    an element of a branch, such as /branches/0/elements/6.
    """

    pointer: FieldPointer
    elements: Annotated[tuple[MachineElement, ...], Meta(min_length=1, max_length=50)]


class SolveForQuestion(Question, frozen=True, kw_only=True):
    """Which is the least (or the greatest) value at which the machine still meets its margins?

    With `machine.uncertainty` a margin is met when it holds with the machine's `confidence`;
    without it, when it holds at best estimate. Margins of temperatures, flows (of the loop and of
    branches), supply and, with a listener, noise count, each with its own chance. Those of air
    carrying and suction, which matter while filling and bleeding, do not; a note names those that
    are not met.

    Nine values are tried across the range. Where two neighbours fail for different reasons it is
    looked at more closely between them, so that a window between, say, heat and noise is found
    when it is at least 1/32768 of the range wide; at most 29 values are tried. That holds while
    no criterion turns round within an eighth of the range: where one does, and in parts of the
    range that no value tried points to, a window may be missed.
    """

    machine: SteadyStateQuestion
    unknown: FieldRange | FactorRange | AlternativeRange
    seek: Annotated[Literal["least", "greatest"], words("Which end of the values that hold")]


class Tried(State, frozen=True, kw_only=True):
    """One value that was tried: whether it holds, the worst criterion and its chance if drawn.

    `worst` names a margin, or says why the machine has none at this value. The standard error
    is what so many draws leave in the chance. Of alternatives the value is the place in their
    list, counted from 0.
    """

    value: Number
    holds: bool
    worst: Text
    chance: Share | None = None
    chance_standard_error: Share | None = None


class Solution(State, frozen=True, kw_only=True):
    """The value found and the machine there.

    `binding` is the margin that fails first beyond the value, or why there is no machine there;
    absent when the end of the range that is sought holds already. `tolerance` is how far the true
    boundary may be away, 0 where whole values lie side by side. Of alternatives `value` is the
    place in their list, counted from 0, and `element` the name of that one.
    """

    unknown: AxisName
    value: Number
    tolerance: Number
    binding: Text | None
    machine: MachineState | None
    element: Text | None = None


class SolveForAnswer(Answer, frozen=True, kw_only=True):
    """The value, what binds there, and the margins of the machine at it."""

    question: SolveForQuestion
    state: Solution | None
    tried: Annotated[tuple[Tried, ...], Meta(max_length=100)]
