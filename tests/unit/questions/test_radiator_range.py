"""Notes on radiators used outside the range that their law was measured in."""

from typing import Any

import msgspec
import pytest

from loopmargin_service.questions import parts
from loopmargin_service.questions.radiator_range import radiator_notes
from loopmargin_wire.answer import Note
from loopmargin_wire.radiator import CoreRadiator, Radiator
from tests.unit.questions.test_radiator_parts import CORE, RATED

# Every dimension within the range of the cores behind the law.
INSIDE = {**CORE, "louvre_angle_deg": 27, "louvre_pitch_mm": 1.2, "fins_per_inch": 18}
AT_THE_BEND = 2.0


def notes(document: dict[str, Any], velocity: float, **changes: object) -> tuple[Note, ...]:
    """Give the notes on a radiator at a face velocity."""
    given: Radiator = msgspec.convert({**document, **changes}, Radiator)
    return radiator_notes(given, parts.section(given, ("radiator",)), velocity, "/radiator")


def test_nothing_to_note_inside_the_ranges() -> None:
    """A usual core at 2 m/s and a rated radiator at its rating need no note."""
    assert notes(INSIDE, AT_THE_BEND) == ()
    assert notes(RATED, 1.0) == ()


@pytest.mark.parametrize(
    ("field", "value", "printed"),
    [
        ("fins_per_inch", 7.0, "fin pitch is 3.63 mm"),
        ("louvre_angle_deg", 8.2, "louvre angle is 8.2 deg"),
        ("depth_mm", 100.0, "depth is 100 mm"),
        ("fin_thickness_mm", 0.25, "fin thickness is 0.25 mm"),
        ("tube_pitch_mm", 28.0, "tube pitch is 28 mm"),
        ("louvre_length_fraction", 0.95, "louvre length is 20.9 mm"),
    ],
)
def test_geometry_outside_the_cores_behind_the_law(field: str, value: float, printed: str) -> None:
    """The note points at the field that causes it and says how far the cores went."""
    found = notes(INSIDE, AT_THE_BEND, **{"tube_pitch_mm": 24, field: value})

    (note,) = [note for note in found if printed in note.text]
    assert (note.code, note.pointer) == ("core_geometry_range", f"/radiator/{field}")


def test_every_pointer_leads_to_a_field() -> None:
    """No note points where the question has nothing."""
    wild = {"fins_per_inch": 30, "depth_mm": 110, "louvre_angle_deg": 34, "tube_pitch_mm": 29}
    found = notes(CORE, 0.2, **wild)

    fields = {field.name for field in msgspec.structs.fields(CoreRadiator)}
    assert {note.pointer.removeprefix("/radiator").strip("/") for note in found} <= {*fields, ""}
    assert len(found) >= 4


def test_slow_air_is_beside_the_main_correlation() -> None:
    """At 0.4 m/s the Reynolds number on the louvre pitch is about 39, below 100."""
    (note,) = notes(INSIDE, 0.4)
    assert (note.code, note.pointer) == ("core_reynolds_range", "/radiator")
    assert "from 100 to 3000" in note.text


@pytest.mark.parametrize(
    ("share", "noted"), [(0.49, True), (0.51, False), (1.99, False), (2.01, True)]
)
def test_far_from_the_rating(share: float, noted: bool) -> None:  # noqa: FBT001 - a column
    """A rated point is trusted from half to twice its air flow; 180 m3/h are 1 m/s here."""
    found = notes(RATED, share)
    expected = [("far_from_rating", "/radiator/air_flow_m3_per_h")] if noted else []
    assert expected == [(note.code, note.pointer) for note in found]
