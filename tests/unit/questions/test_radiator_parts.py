"""Radiators of the wire as sections: geometry, ratings, and what contradicts itself."""

import re
from typing import Any

import msgspec
import numpy as np
import pytest

from loopmargin_service.physics.radiator import AirStream, CoreSection, RatedSection, conductance
from loopmargin_service.questions import parts
from loopmargin_service.questions.refusals import Refusal
from loopmargin_wire import radiator
from tests.unit.questions.asked import fault_of

CORE = {
    "kind": "core",
    "face_width_mm": 400,
    "face_height_mm": 120,
    "depth_mm": 30,
    "tube_pitch_mm": 10,
    "tube_thickness_mm": 2,
    "fins_per_inch": 20,
}
RATED = {
    "kind": "rated",
    "face_width_mm": 400,
    "face_height_mm": 125,
    "conductance_w_per_k": 20,
    "basis": "coolant_inlet",
    "air_flow_m3_per_h": 180,
    "flow_l_per_min": 4,
    "air_pressure_drop": [{"air_flow_m3_per_h": 180, "pressure_drop_pa": 12}],
}


def section(document: dict[str, Any], **changes: object) -> CoreSection | RatedSection:
    """Build a section with some of its fields replaced."""
    given: radiator.Radiator = msgspec.convert({**document, **changes}, radiator.Radiator)
    return parts.section(given, ("radiator",))


def test_core_in_metres() -> None:
    """20 fins per inch are a pitch of 1.27 mm; louvres take their share of the gap."""
    built = section(CORE, installation_factor=0.9, louvre_length_fraction=0.75)

    assert isinstance(built, CoreSection)
    core = built.core
    lengths = (core.face_width, core.depth, core.fin_pitch, core.louvre_length, core.fin_thickness)
    assert lengths == pytest.approx((0.4, 0.03, 1.27e-3, 6e-3, 8e-5))
    assert (built.face_area, built.installation_factor) == pytest.approx((0.048, 0.9))
    assert (core.louvre_angle, core.passes) == (27.0, 2)


@pytest.mark.parametrize(
    ("changes", "where", "fragments"),
    [
        ({"tube_pitch_mm": 4, "tube_thickness_mm": 4.5}, "tube_thickness_mm", ["4.5", "4 mm"]),
        ({"tube_pitch_mm": 4, "tube_thickness_mm": 2.95}, "tube_thickness_mm", ["2.95", "1.08"]),
        ({"tube_pitch_mm": 30, "face_height_mm": 50}, "tube_pitch_mm", ["50 mm", "30", "passes"]),
        (
            {"tube_wall_mm": 0.6, "tube_thickness_mm": 1.3},
            "tube_wall_mm",
            ["0.6", "0.2", "thinner"],
        ),
    ],
)
def test_cores_that_cannot_be_built(
    changes: dict[str, float], where: str, fragments: list[str]
) -> None:
    """Every refusal names the value, the limit that it breaks and a way out."""
    with pytest.raises(Refusal) as caught:
        section(CORE, **changes)

    at, sentence = fault_of(caught.value)
    assert at == f"radiator/{where}"
    assert [words for words in fragments if words not in sentence] == []


def test_every_contradiction_of_a_core_is_named_at_once() -> None:
    """Thick tubes with thick walls in a low face are three faults, not one after another."""
    with pytest.raises(Refusal) as caught:
        section(CORE, tube_pitch_mm=30, tube_thickness_mm=1, tube_wall_mm=0.5, face_height_mm=40)

    assert {"tube_pitch_mm", "tube_wall_mm"} == {fault.path[-1] for fault in caught.value.faults}


def at_rating(built: RatedSection, share: float = 1.0) -> float:
    """Give the conductance of a section at its rating, or at a share of its air flow."""
    flow = np.asarray(built.rating.air_flow).reshape(1)
    stream = AirStream(share * flow, np.array([1.18]), np.array([298.15]))
    coolant = parts.liquid(parts.Mix("water", 0.0), 40.0)
    liquid_flow = np.asarray(built.rating.liquid_flow).reshape(1)
    return float(conductance(built, stream, liquid_flow, coolant)[0])


@pytest.mark.parametrize(
    ("basis", "turned"), [("coolant_inlet", 0.0), ("coolant_mean", 0.5), ("coolant_outlet", 1.0)]
)
def test_rated_section_gives_its_rating_back(basis: str, turned: float) -> None:
    """G over the inlet difference is G' / (1 + x G' / C), with x a half or a whole."""
    built = section(RATED, basis=basis)

    assert isinstance(built, RatedSection)
    capacity = float(np.asarray(built.rating.liquid_capacity))
    expected = 20.0 / (1.0 + turned * 20.0 / capacity)
    assert expected == pytest.approx(at_rating(built), rel=1e-9)


def test_rated_section_in_si() -> None:
    """180 m3/h at 25 degC are 0.0592 kg/s; one point of pressure drop is a square law."""
    built = section(RATED)

    assert isinstance(built, RatedSection)
    density = 101325.0 / (287.05 * 298.15)
    assert built.rating.air_flow == pytest.approx(0.05 * density, rel=1e-4)
    velocity = 0.05 / built.face_area
    assert (built.linear, built.quadratic * velocity**2) == pytest.approx((0.0, 12.0))


def test_less_air_carries_less() -> None:
    """Half of the rated air carries less than the rating, but more than half of it."""
    built = section(RATED)

    assert isinstance(built, RatedSection)
    assert 10.0 < at_rating(built, 0.5) < 20.0


@pytest.mark.parametrize(
    ("changes", "most"),
    [
        ({"conductance_w_per_k": 70}, "59.58 W/K"),
        ({"flow_l_per_min": 0.2}, "13.82 W/K"),
        ({"conductance_w_per_k": 75, "basis": "coolant_mean"}, "59.58 W/K"),
    ],
)
def test_radiator_rated_above_what_its_streams_carry(changes: dict[str, Any], most: str) -> None:
    """180 m3/h of air carry 59.6 W/K, 0.2 L/min of water 13.8 W/K, whatever the radiator."""
    with pytest.raises(Refusal) as caught:
        section(RATED, **changes)

    where, sentence = fault_of(caught.value)
    assert where == "radiator/conductance_w_per_k"
    value = f"{changes.get('conductance_w_per_k', 20)} W/K"
    assert all(words in sentence for words in (value, most, "check the basis"))


def test_limit_of_a_rating_is_the_one_that_was_broken() -> None:
    """With equal streams crossflow ends below the capacity rate; the sentence says where."""
    changes = {"flow_l_per_min": 0.862, "conductance_w_per_k": 57.5}

    with pytest.raises(Refusal) as caught:
        section(RATED, **changes)

    (limit,) = re.findall(r"at most ([0-9.]+) W/K", fault_of(caught.value)[1])
    assert float(limit) < 57.5
