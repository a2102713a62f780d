"""Axes of a sweep: which fields of a machine they change, and how.

A field that only turns a setting (a speed, a power, the room) is changed in the arrays of a
machine that is built once. Any other field, and a whole element, changes the machine itself,
which is then built anew for each of its values.
"""

import math
import re
from collections.abc import Iterator
from functools import cache
from typing import Any, NamedTuple

import msgspec
from msgspec import inspect

from loopmargin_service.questions import constraints
from loopmargin_service.questions.refusals import Fault, Refusal
from loopmargin_wire.steady_state import SteadyStateQuestion
from loopmargin_wire.sweep import (
    MOST_WHOLE_CASES,
    AlternativeAxis,
    Axis,
    FactorAxis,
    FieldAxis,
    SweepQuestion,
)

# Fields that leave the machine as it is and only turn a setting.
SETTINGS = re.compile(
    r"/room/(air_c|altitude_m)|/rest_w|/pumps/\d+/speed_rpm"
    r"|/branches/\d+/elements/\d+/(power_w|fans/speed_rpm)|/case/fans/\d+/fans/speed_rpm"
)
ELEMENT = re.compile(r"/branches/(\d+)/elements/(\d+)")
# What one question may ask for: each machine is built once for each value that turns it, and
# solving it costs about as much as this many builds.
MOST_BUILDS = 6000
BUILDS_PER_MACHINE = 20
GROUPS = {
    "fan_speeds": re.compile(r".*/fans/speed_rpm"),
    "pump_speeds": re.compile(r"/pumps/\d+/speed_rpm"),
    "part_powers": re.compile(r"/branches/\d+/elements/\d+/power_w"),
}


class Change(NamedTuple):
    """An axis as it acts: what it sets or scales, and whether that is only a setting.

    Values are numbers, or whole elements written as plain objects. A `whole` field takes whole
    numbers alone.
    """

    name: str
    pointers: tuple[str, ...]
    values: tuple[Any, ...]
    scales: bool
    setting: bool
    whole: bool = False


def resolved(machine: SteadyStateQuestion, axes: tuple[Axis, ...]) -> tuple[Change, ...]:
    """Resolve axes against a machine, refusing one that changes nothing."""
    leaves = dict(_leaves(msgspec.to_builtins(machine), ""))
    return tuple(
        _alternative(axis, number, machine)
        if isinstance(axis, AlternativeAxis)
        else _change(axis, number, leaves)
        for number, axis in enumerate(axes)
    )


def changes(question: SweepQuestion) -> tuple[Change, ...]:
    """Resolve the axes of a sweep, with every refusal that they deserve."""
    found = resolved(question.machine, question.axes)
    _counted(found)
    _bounded(question, count(found))
    _affordable(found)
    _apart(found)
    return found


def is_setting(axis: Axis) -> bool:
    """Tell whether an axis only turns a setting of a machine that is built once."""
    if isinstance(axis, FieldAxis):
        return SETTINGS.fullmatch(axis.pointer) is not None
    return isinstance(axis, FactorAxis)


def count(found: tuple[Change, ...]) -> int:
    """Count the cases that some axes make."""
    return math.prod(len(change.values) for change in found)


def require_whole(question: SweepQuestion, cases: int) -> None:
    """Refuse what only a stream can give."""
    if cases > MOST_WHOLE_CASES:
        reason = (
            f"the axes make {cases} cases and a whole answer holds {MOST_WHOLE_CASES}; ask for a "
            "stream (Accept: application/x-ndjson), use fewer values or ask in parts"
        )
        raise Refusal(Fault(("axes",), reason))
    if question.first_case:
        reason = "a whole answer begins with case 0; leave this out, or ask for a stream"
        raise Refusal(Fault(("first_case",), reason))


def _bounded(question: SweepQuestion, cases: int) -> None:
    """Refuse more cases than are wanted, and a beginning after the last one."""
    if cases > question.case_limit:
        raise Refusal(
            Fault(
                ("axes",),
                f"the axes make {cases} cases, more than the {question.case_limit} of case_limit; "
                "raise it, use fewer values or ask in parts",
            )
        )
    if question.first_case > cases:
        reason = f"the axes make {cases} cases; begin with one of them"
        raise Refusal(Fault(("first_case",), reason))


def _apart(found: tuple[Change, ...]) -> None:
    """Refuse two axes that change the same thing.

    A setting may be turned on an element that another axis puts in: it is put in first.
    """
    seen: dict[str, Change] = {}
    for change in found:
        for pointer in change.pointers:
            for other, before in seen.items():
                nested = pointer.startswith(f"{other}/") or other.startswith(f"{pointer}/")
                if pointer == other or (nested and not change.setting and not before.setting):
                    longer = max(pointer, other, key=len)
                    reason = f"two axes change {longer}; let one axis change it"
                    raise Refusal(Fault(("axes",), reason))
        seen.update(dict.fromkeys(change.pointers, change))


def _counted(found: tuple[Change, ...]) -> None:
    """Refuse a part of what is counted."""
    faults = []
    for number, change in enumerate(found):
        parts = [value for value in change.values if change.whole and not value.is_integer()]
        if parts:
            reason = f"/{change.name} is counted and cannot be {parts[0]:g}; give whole numbers"
            faults.append(Fault(("axes", number, "values"), reason))
    if faults:
        raise Refusal(*faults)


def _affordable(found: tuple[Change, ...]) -> None:
    """Refuse a grid that needs more machines built than one question may ask for."""
    machines = math.prod(len(change.values) for change in found if not change.setting)
    turned = sum(len(change.values) for change in found if change.setting)
    builds = machines * (turned + BUILDS_PER_MACHINE)
    if builds > MOST_BUILDS:
        names = ", ".join(change.name for change in found if not change.setting)
        raise Refusal(
            Fault(
                ("axes",),
                f"{names} change the machine itself, which takes {builds} builds here and may take "
                f"{MOST_BUILDS}; give these axes fewer values or ask in parts",
            )
        )


def _leaves(document: object, pointer: str) -> Iterator[tuple[str, int | float]]:
    """Walk the numbers of a document with their pointers."""
    if isinstance(document, bool) or document is None:
        return
    if isinstance(document, int | float):
        yield pointer, document
    elif isinstance(document, dict):
        for name, member in document.items():
            yield from _leaves(member, f"{pointer}/{name}")
    elif isinstance(document, list | tuple):
        for number, member in enumerate(document):
            yield from _leaves(member, f"{pointer}/{number}")


def _change(axis: FieldAxis | FactorAxis, number: int, leaves: dict[str, int | float]) -> Change:
    """Resolve one axis."""
    if isinstance(axis, FactorAxis):
        return _factor(axis, number, leaves)
    if axis.pointer not in leaves:
        raise Refusal(
            Fault(
                ("axes", number, "pointer"),
                f"{axis.pointer} is no number of this machine; point to a numeric field that "
                "the machine states, such as /room/air_c or /pumps/0/speed_rpm",
            )
        )
    return Change(
        axis.pointer[1:],
        (axis.pointer,),
        axis.values,
        scales=False,
        setting=is_setting(axis),
        whole=isinstance(leaves[axis.pointer], int),
    )


def _factor(axis: FactorAxis, number: int, leaves: dict[str, int | float]) -> Change:
    """Resolve a factor on a group of fields."""
    pointers = tuple(pointer for pointer in leaves if GROUPS[axis.of].fullmatch(pointer))
    if not pointers:
        reason = f"this machine has no {axis.of.replace('_', ' ')}"
        raise Refusal(Fault(("axes", number, "of"), reason))
    return Change(axis.of, pointers, axis.values, scales=True, setting=True)


def _alternative(axis: AlternativeAxis, number: int, machine: SteadyStateQuestion) -> Change:
    """Resolve elements that stand in one place in turn."""
    site = site_of(axis.pointer)
    sizes = [len(branch.elements) for branch in machine.branches]
    if site is None or site[0] >= len(sizes) or site[1] >= sizes[site[0]]:
        reason = (
            f"{axis.pointer} is no element of this machine; point to one in a branch, such as "
            "/branches/0/elements/0"
        )
        raise Refusal(Fault(("axes", number, "pointer"), reason))
    elements = tuple(msgspec.to_builtins(element) for element in axis.elements)
    return Change(axis.pointer[1:], (axis.pointer,), elements, scales=False, setting=False)


def site_of(pointer: str) -> tuple[int, int] | None:
    """Give branch and element that a pointer leads to, if it leads to a whole element."""
    place = ELEMENT.fullmatch(pointer)
    return None if place is None else (int(place[1]), int(place[2]))


def on(machine: SteadyStateQuestion, change: Change) -> Change:
    """Give a factor as it acts on a machine into which other elements were put."""
    if not change.scales:
        return change
    leaves = dict(_leaves(msgspec.to_builtins(machine), ""))
    found = tuple(pointer for pointer in leaves if GROUPS[change.name].fullmatch(pointer))
    return change._replace(pointers=found)


def applied(machine: SteadyStateQuestion, change: Change, value: object) -> SteadyStateQuestion:
    """Give the machine with one axis at one value, checked against every limit of its fields."""
    document = msgspec.json.decode(msgspec.json.encode(machine))
    for pointer in change.pointers:
        *steps, last = pointer[1:].split("/")
        place: Any = document
        try:
            for step in steps:
                place = place[int(step)] if isinstance(place, list) else place[step]
            key: Any = int(last) if isinstance(place, list) else last
            place[key] = _put_for(place[key], value, scales=change.scales)
        except (KeyError, IndexError, ValueError) as error:
            reason = "the element that another axis puts there has no such field"
            raise Refusal(Fault(tuple(pointer[1:].split("/")), reason)) from error
    try:
        return msgspec.convert(document, SteadyStateQuestion)
    except msgspec.ValidationError as error:
        raise Refusal(*constraints.faults(document, _wanted())) from error


@cache
def _wanted() -> inspect.Type:
    """Describe what a machine takes."""
    return inspect.type_info(SteadyStateQuestion)


def _put_for(old: Any, value: Any, *, scales: bool) -> object:  # noqa: ANN401 - any piece of a document
    """Give what stands in the place of an old number or element; a count stays a whole number."""
    if isinstance(value, dict):
        return value
    number = old * value if scales else value
    return int(number) if isinstance(old, int) and number.is_integer() else number
