"""The walk over a refused body agrees with the decoder, and speaks plainly."""

import json
import math
from pathlib import Path
from typing import Annotated, Any

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st
from msgspec import Meta, Struct, inspect

from loopmargin_service.http.routes import ROUTES, Route
from loopmargin_service.questions import constraints
from tests.unit.http.parcel import Crate, ParcelQuestion

EXAMPLES = Path("openapi/examples")
WRONG: list[Any] = [
    None, True, -1e12, 1e12, 0.5, -0.0, "", "a\n", "x" * 300, [], [[]], {}, {"kind": "x"},
    {"kind": 1}, float("inf"), 10**30, [0.0] * 100,
]  # fmt: skip


def _places(value: object, path: tuple[str | int, ...] = ()) -> list[tuple[str | int, ...]]:
    """List every place of a document."""
    match value:
        case dict():
            inner = [place for key in value for place in _places(value[key], (*path, key))]
        case list():
            inner = [p for at, member in enumerate(value) for p in _places(member, (*path, at))]
        case _:
            inner = []
    return [path, *inner]


def _changed(document: Any, path: tuple[str | int, ...], value: object) -> Any:  # noqa: ANN401 - JSON
    """Replace one place of a document."""
    if not path:
        return value
    copy: Any = list(document) if isinstance(document, list) else dict(document)
    copy[path[0]] = _changed(copy[path[0]], path[1:], value)
    return copy


def _decodes(document: object, question: type[Struct]) -> bool:
    try:
        msgspec.convert(document, question)
    except msgspec.ValidationError:
        return False
    return True


@pytest.mark.parametrize("row", ROUTES, ids=[row.name for row in ROUTES])
@given(data=st.data())
def test_the_walk_finds_a_fault_exactly_when_the_decoder_does(
    row: Route, data: st.DataObject
) -> None:
    """Whatever is put in whatever place, both agree on whether it fits."""
    example = json.loads((EXAMPLES / f"{row.name}.question.json").read_bytes())
    place = data.draw(st.sampled_from(_places(example)))
    document = _changed(example, place, data.draw(st.sampled_from(WRONG)))

    found = constraints.faults(document, inspect.type_info(row.question))

    assert _decodes(document, row.question) == (found == ())


@pytest.mark.parametrize("row", ROUTES, ids=[row.name for row in ROUTES])
def test_a_fault_stands_at_the_place_that_was_changed(row: Route) -> None:
    """A single wrong leaf gives a single fault, there."""
    example = json.loads((EXAMPLES / f"{row.name}.question.json").read_bytes())
    wanted = inspect.type_info(row.question)
    leaves = [place for place in _places(example) if place and place[-1] != "kind"]

    for place in leaves:
        found = constraints.faults(_changed(example, place, object()), wanted)
        assert [place] == [fault.path for fault in found]


def test_every_kind_of_expectation_reads_well() -> None:
    """Numbers with unit, words, texts, lists, parts, choices."""
    fields = inspect.type_info(ParcelQuestion).fields  # type: ignore[attr-defined]
    said = {field.name: constraints.expected(field.type) for field in fields}

    assert said == {
        "label": "text of 1 to 48 characters that matches ^[A-Za-z0-9][A-Za-z0-9 _.-]*$",
        "edges_mm": "a list of 1 to 5 entries",
        "wrapping": 'an object whose kind is one of "paper", "crate"',
        "inner": "an object with the fields kind, wall_mm or null",
        "fragile": "true or false",
        "mood": 'one of "beyond", "broken", "contrary", "nan", "numpy", "restless", "well"',
    }


def test_a_type_that_the_walk_does_not_know_is_refused_when_it_is_prepared() -> None:
    """A new kind of field cannot slip in unnoticed."""
    with pytest.raises(TypeError, match="questions do not use"):
        constraints.expected(inspect.type_info(set[int]))


def test_a_long_value_is_shortened() -> None:
    """A refusal does not send a large body back."""
    (found,) = constraints.faults({"wall_mm": "x" * 10_000}, inspect.type_info(Crate))[:1]

    assert len(found.detail) < 200


def test_what_no_number_and_no_value_may_be_is_told() -> None:
    """Infinity is no number of the wire, and null stands for itself alone."""
    (found,) = constraints.faults({"wall_mm": math.inf}, inspect.type_info(Crate))[:1]
    nothing = inspect.type_info(type(None))

    assert "is not finite" in found.detail
    assert constraints.faults(None, nothing) == ()
    assert [fault.path for fault in constraints.faults(0, nothing)] == [()]


def test_a_count_takes_no_fraction() -> None:
    """It is told what is wanted; 2.0 is a whole number in another guise."""
    count = inspect.type_info(Annotated[int, Meta(ge=1, le=6)])
    (found,) = constraints.faults(2.5, count)

    assert "from 1 to 6" in found.detail
    assert constraints.faults(2.0, count) == ()
