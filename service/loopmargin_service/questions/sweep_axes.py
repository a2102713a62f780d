"""Axes of a sweep: which fields of a machine they change, and how.

A field that only turns a setting (a speed, a power, the room) is changed in the arrays of a
machine that is built once. Any other field changes the machine itself, which is then built
anew for each of its values.
"""

import itertools
import math
import re
from collections.abc import Iterator
from typing import Any, NamedTuple

import msgspec
import numpy as np

from loopmargin_service.questions.refusals import Fault, Refusal
from loopmargin_wire.steady_state import SteadyStateQuestion
from loopmargin_wire.sweep import Axis, FieldAxis, SweepQuestion

# Fields that leave the machine as it is and only turn a setting.
SETTINGS = re.compile(
    r"/room/(air_c|altitude_m)|/rest_w|/pumps/\d+/speed_rpm"
    r"|/branches/\d+/elements/\d+/(power_w|fans/speed_rpm)|/case/fans/\d+/fans/speed_rpm"
)
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
    """An axis as it acts: the fields it sets or scales, and whether they are only settings."""

    name: str
    pointers: tuple[str, ...]
    values: tuple[float, ...]
    scales: bool
    setting: bool


def changes(question: SweepQuestion) -> tuple[Change, ...]:
    """Resolve the axes against the machine, refusing one that changes nothing."""
    document = msgspec.to_builtins(question.machine)
    leaves = dict(_leaves(document, ""))
    found = tuple(_change(axis, number, leaves) for number, axis in enumerate(question.axes))
    cases = math.prod(len(change.values) for change in found)
    if cases > question.case_limit:
        raise Refusal(
            Fault(
                ("axes",),
                f"the axes make {cases} cases, more than the {question.case_limit} of case_limit; "
                "use fewer values or ask in parts",
            )
        )
    _affordable(found)
    pointers = [pointer for change in found for pointer in change.pointers]
    twice = next((pointer for pointer in pointers if pointers.count(pointer) > 1), None)
    if twice is not None:
        raise Refusal(Fault(("axes",), f"two axes change {twice}; let one axis change it"))
    return found


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


def _leaves(document: object, pointer: str) -> Iterator[tuple[str, float]]:
    """Walk the numbers of a document with their pointers."""
    if isinstance(document, bool) or document is None:
        return
    if isinstance(document, int | float):
        yield pointer, float(document)
    elif isinstance(document, dict):
        for name, member in document.items():
            yield from _leaves(member, f"{pointer}/{name}")
    elif isinstance(document, list | tuple):
        for number, member in enumerate(document):
            yield from _leaves(member, f"{pointer}/{number}")


def _change(axis: Axis, number: int, leaves: dict[str, float]) -> Change:
    """Resolve one axis."""
    if isinstance(axis, FieldAxis):
        if axis.pointer not in leaves:
            raise Refusal(
                Fault(
                    ("axes", number, "pointer"),
                    f"{axis.pointer} is no number of this machine; point to a numeric field that "
                    "the machine states, such as /room/air_c or /pumps/0/speed_rpm",
                )
            )
        setting = SETTINGS.fullmatch(axis.pointer) is not None
        return Change(axis.pointer[1:], (axis.pointer,), axis.values, scales=False, setting=setting)
    pointers = tuple(pointer for pointer in leaves if GROUPS[axis.of].fullmatch(pointer))
    if not pointers:
        raise Refusal(
            Fault(("axes", number, "of"), f"this machine has no {axis.of.replace('_', ' ')}")
        )
    return Change(axis.of, pointers, axis.values, scales=True, setting=True)


def applied(machine: SteadyStateQuestion, change: Change, value: float) -> SteadyStateQuestion:
    """Give the machine with one axis at one value, checked against every limit of its fields."""
    document = msgspec.to_builtins(machine)
    for pointer in change.pointers:
        *steps, last = pointer[1:].split("/")
        place: Any = document
        for step in steps:
            place = place[int(step)] if isinstance(place, list | tuple) else place[step]
        key = int(last) if isinstance(place, list) else last
        number = place[key] * value if change.scales else value
        place[key] = int(number) if isinstance(place[key], int) and number.is_integer() else number
    return msgspec.convert(document, SteadyStateQuestion)


def combinations(found: tuple[Change, ...]) -> Iterator[tuple[int, ...]]:
    """Give every combination of values of some axes, as numbers of the values."""
    return itertools.product(*(range(len(change.values)) for change in found))


def case_numbers(
    found: tuple[Change, ...], fixed: dict[int, int]
) -> np.ndarray[tuple[int, ...], np.dtype[np.intp]]:
    """Give the numbers of the cases in which some axes stand at fixed values."""
    shape = tuple(len(change.values) for change in found)
    every = np.arange(math.prod(shape)).reshape(shape)
    return every[tuple(fixed.get(axis, slice(None)) for axis in range(len(found)))].ravel()
