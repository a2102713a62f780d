"""The example questions of the reference, changed at some places and asked again."""

import copy
import json
from collections.abc import Mapping
from functools import cache
from pathlib import Path
from typing import Any

import msgspec

from loopmargin_service.questions import pump_head, radiator_area, steady_state
from loopmargin_service.questions.refusals import Fault, Refusal
from loopmargin_wire.answer import Answer, Margin
from loopmargin_wire.pump_head import LoopState, PumpHeadAnswer, PumpHeadQuestion
from loopmargin_wire.radiator_area import RadiatorAreaAnswer, RadiatorAreaQuestion, RadiatorState
from loopmargin_wire.steady_state import MachineState, SteadyStateAnswer, SteadyStateQuestion

Changes = Mapping[str, object]

EXAMPLES = Path(__file__).parents[3] / "openapi/examples"


@cache
def _example(name: str) -> Any:  # noqa: ANN401 - any JSON document
    return json.loads((EXAMPLES / f"{name}.question.json").read_bytes())


def example(name: str, changes: Changes | None = None) -> Any:  # noqa: ANN401 - any JSON document
    """Copy an example and put values at some places, given as `room/air_c` or `pumps/0`."""
    return changed(_example(name), changes)


def changed(document: object, changes: Changes | None) -> Any:  # noqa: ANN401 - any JSON document
    """Copy a document and put values at some places; a list grows at its own length."""
    result = copy.deepcopy(document)
    for path, value in (changes or {}).items():
        *way, last = [int(step) if step.isdecimal() else step for step in path.split("/")]
        place: Any = result
        for step in way:
            place = place[step]
        if isinstance(place, list) and last == len(place):
            place.append(copy.deepcopy(value))
        else:
            place[last] = copy.deepcopy(value)
    return result


def ask_area(changes: Changes | None = None) -> RadiatorAreaAnswer:
    """Ask the example of `radiator-area` with some changes."""
    document = example("radiator-area", changes)
    return radiator_area.answer(msgspec.convert(document, RadiatorAreaQuestion))


def ask_head(changes: Changes | None = None) -> PumpHeadAnswer:
    """Ask the example of `pump-head` with some changes."""
    return pump_head.answer(msgspec.convert(example("pump-head", changes), PumpHeadQuestion))


def ask_machine(changes: Changes | None = None) -> SteadyStateAnswer:
    """Ask the example of `steady-state` with some changes."""
    document = example("steady-state", changes)
    return steady_state.answer(msgspec.convert(document, SteadyStateQuestion))


def area_state(changes: Changes | None = None) -> RadiatorState:
    """Ask for a radiator that has a state to report."""
    state = ask_area(changes).state
    assert state is not None
    return state


def loop_state(changes: Changes | None = None) -> LoopState:
    """Ask for a loop that has a state to report."""
    state = ask_head(changes).state
    assert state is not None
    return state


def machine_state(changes: Changes | None = None) -> MachineState:
    """Ask for a machine that has a state to report."""
    state = ask_machine(changes).state
    assert state is not None
    return state


def fault_of(refusal: Refusal) -> tuple[str, str]:
    """Give the one fault of a refusal as a path with slashes, and its sentence."""
    (fault,) = refusal.faults
    return pointer(fault), fault.detail


def pointer(fault: Fault) -> str:
    """Write the path of a fault with slashes."""
    return "/".join(str(step) for step in fault.path)


def margin_of(given: Answer, criterion: str) -> Margin:
    """Find the one margin of a criterion."""
    (found,) = [row for row in given.margins if row.criterion == criterion]
    return found


def codes(given: Answer) -> list[str]:
    """List the codes of all notes."""
    return [note.code for note in given.notes]
