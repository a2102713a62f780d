"""Radiator sections: one conductance and one air drop, however they are described."""

from dataclasses import replace

import ht
import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from loopmargin_service.physics import air, coolant, louvred_core
from loopmargin_service.physics.coolant import Properties
from loopmargin_service.physics.radiator import (
    SMALLEST_AIR_FLOW,
    SMALLEST_LIQUID_FLOW,
    AirStream,
    CoreSection,
    RatedSection,
    Section,
    conductance,
)
from tests.unit.physics.bench_air import CORE, ROOM_TEMPERATURE, rated
from tests.unit.physics.core_examples import COMMON, cores

ROUGH = settings(deadline=None, max_examples=40)
WATER = coolant.properties("water", 0.0, np.array([303.15]))
SECTIONS: list[Section] = [rated(), CORE]
AIR_FLOWS = st.floats(1e-4, 0.3)
LIQUID_FLOWS = st.floats(1e-3, 0.3)


def stream(flow: float, density: float = 1.2, temperature: float = ROOM_TEMPERATURE) -> AirStream:
    """Give air with a batch axis of one."""
    return AirStream(np.array([flow]), np.array([density]), np.array([temperature]))


def between_inlets(section: Section, flow: float, liquid_flow: float) -> float:
    """Give the conductance with water of 30 degC."""
    return float(conductance(section, stream(flow), np.array([liquid_flow]), WATER)[0])


def crossflow(ua: float, *rates: float) -> float:
    """Give the conductance between the inlets of a crossflow exchanger, by ht 1.2.0."""
    ntu, ratio = ua / min(rates), min(rates) / max(rates)
    effectiveness = ht.effectiveness_from_NTU(ntu, ratio, "crossflow")  # type: ignore[no-untyped-call]
    return float(effectiveness * min(rates))


def test_at_the_rated_point_it_is_the_rating() -> None:
    """At the rated flows and the rated coolant the conductance is the rated one."""
    section = rated(30.0)
    liquid = Properties(*(np.array([value]) for value in (998.0, 1e-3, 4180.0, 0.6)))

    found = conductance(section, stream(0.0464), np.array([0.0331]), liquid)

    assert float(found[0]) == pytest.approx(30.0, rel=1e-9)


@ROUGH
@given(core=cores(), flow=AIR_FLOWS, liquid_flow=LIQUID_FLOWS, factor=st.floats(0.3, 1.0))
def test_a_core_is_an_exchanger_with_its_ua(
    core: louvred_core.Core, flow: float, liquid_flow: float, factor: float
) -> None:
    """Between its inlets a derated core of one pass is the crossflow exchanger of ht 1.2.0."""
    single = CoreSection(replace(core, passes=1), factor)
    velocity = flow / (1.2 * single.face_area)
    ua = factor * float(
        louvred_core.conductance(single.core, velocity, 1.2, ROOM_TEMPERATURE, liquid_flow, WATER)[
            0
        ]
    )
    rates = flow * air.HEAT_CAPACITY, liquid_flow * float(WATER.heat_capacity[0])
    # Beyond these transfer units the series is held.
    assume(ua < 20.0 * min(rates))

    expected = crossflow(ua, *rates)

    assert between_inlets(single, flow, liquid_flow) == pytest.approx(expected, rel=1e-6)


def test_two_passes_are_two_halves_in_series() -> None:
    """A U flow is two exchangers of half the UA and half the air, one after the other."""
    ua = 0.85 * float(
        louvred_core.conductance(
            COMMON, 0.05 / (1.2 * COMMON.face_area), 1.2, ROOM_TEMPERATURE, 0.03, WATER
        )[0]
    )
    half_air, liquid = 0.025 * air.HEAT_CAPACITY, 0.03 * float(WATER.heat_capacity[0])
    share = crossflow(0.5 * ua, half_air, liquid) / liquid

    expected = liquid * (1.0 - (1.0 - share) ** 2)

    assert between_inlets(CORE, 0.05, 0.03) == pytest.approx(expected, rel=1e-6)


@ROUGH
@given(section=st.sampled_from(SECTIONS), flow=AIR_FLOWS, liquid_flow=LIQUID_FLOWS)
def test_no_radiator_beats_its_streams(section: Section, flow: float, liquid_flow: float) -> None:
    """The conductance is above zero and below both capacity rates."""
    rates = flow * air.HEAT_CAPACITY, liquid_flow * float(WATER.heat_capacity[0])

    assert 0.0 < between_inlets(section, flow, liquid_flow) < min(rates)


@ROUGH
@given(
    section=st.sampled_from(SECTIONS),
    flow=AIR_FLOWS,
    liquid_flow=LIQUID_FLOWS,
    more=st.floats(1.0, 3.0),
)
def test_more_of_either_stream_moves_more(
    section: Section, flow: float, liquid_flow: float, more: float
) -> None:
    """More air or more coolant never lowers the conductance."""
    base = between_inlets(section, flow, liquid_flow)

    assert between_inlets(section, more * flow, liquid_flow) >= base * (1.0 - 1e-9)
    assert between_inlets(section, flow, more * liquid_flow) >= base * (1.0 - 1e-9)


@pytest.mark.parametrize("section", SECTIONS)
def test_the_direction_of_a_stream_does_not_matter(section: Section) -> None:
    """Air drawn or blown, coolant forwards or backwards: the same conductance."""
    found = {
        between_inlets(section, air_flow, flow)
        for air_flow in (0.04, -0.04)
        for flow in (0.03, -0.03)
    }

    assert len(found) == 1


@pytest.mark.parametrize("section", SECTIONS)
@pytest.mark.parametrize(("flow", "liquid_flow"), [(0.0, 0.03), (0.04, 0.0), (0.0, 0.0)])
def test_still_streams_carry_next_to_nothing(
    section: Section, flow: float, liquid_flow: float
) -> None:
    """With air or coolant at rest the conductance is finite, and below a milliwatt per kelvin."""
    bound = max(SMALLEST_AIR_FLOW * air.HEAT_CAPACITY, SMALLEST_LIQUID_FLOW * 4180.0)

    assert 0.0 < between_inlets(section, flow, liquid_flow) <= bound < 1e-3


@ROUGH
@given(
    core=cores(),
    reynolds=st.floats(130.0, 3000.0),
    share=st.floats(0.05, 1.0),
    more=st.floats(1.0, 2.0),
)
def test_a_deeper_core_never_moves_less(
    core: louvred_core.Core, reynolds: float, share: float, more: float
) -> None:
    """At equal flows of brisk air and laminar coolant, more depth never lowers the conductance.

    Two exceptions: wider tubes slow the coolant, which may end turbulence in them; and below
    a Reynolds number of 130 the air leaves the louvres sooner in a deeper core.
    """
    deeper = replace(core, depth=more * core.depth)
    flux = reynolds * float(air.viscosity(ROOM_TEMPERATURE)) / core.louvre_pitch
    flow = flux * core.free_area_ratio * core.face_area
    slowest = 2000.0 * float(WATER.viscosity[0]) / core.tube_hydraulic_diameter
    liquid_flow = share * slowest * core.liquid_flow_area

    base = between_inlets(CoreSection(core, 0.85), flow, liquid_flow)

    assert between_inlets(CoreSection(deeper, 0.85), flow, liquid_flow) >= base * (1.0 - 1e-9)


def test_batch_equals_single_streams() -> None:
    """Many cases at once are, bit for bit, the cases one by one."""
    flow, liquid_flow = np.array([0.01, 0.05, 0.2]), np.array([0.02, 0.1, 0.05])
    many = AirStream(flow, np.full(3, 1.2), np.full(3, ROOM_TEMPERATURE))
    water = Properties(*(np.repeat(part, 3) for part in WATER))

    for section in SECTIONS:
        together = conductance(section, many, liquid_flow, water)
        apart = [
            between_inlets(section, *pair)
            for pair in zip(flow.tolist(), liquid_flow.tolist(), strict=True)
        ]
        np.testing.assert_allclose(together, apart, rtol=1e-13)


@pytest.mark.parametrize(
    ("density", "temperature"), [(1.204, 293.15), (0.602, 293.15), (1.204, 333.15)]
)
@pytest.mark.parametrize("velocity", [0.5, 1.0, 2.0])
def test_air_drop_of_a_rated_radiator(density: float, temperature: float, velocity: float) -> None:
    """Of 7 v + 12 v^2 the linear part follows the viscosity and the quadratic one the density."""
    section = rated(linear=7.0, quadratic=12.0)
    thicker = float(air.viscosity(temperature) / air.viscosity(293.15))

    drop = section.air_drop(stream(velocity * density * section.face_area, density, temperature))

    expected = 7.0 * thicker * velocity + 12.0 * density / 1.204 * velocity**2
    assert float(drop[0]) == pytest.approx(expected, rel=1e-12)


@pytest.mark.parametrize("factor", [0.8, 1.0, 1.25])
def test_a_factor_on_the_walls(factor: float) -> None:
    """A factor on UA is a core with that much more or less derating, not one on the heat."""
    flow, liquid_flow = stream(0.05), np.array([0.03])

    found = float(conductance(CORE, flow, liquid_flow, WATER, factor)[0])

    other = CoreSection(COMMON, 0.85 * factor)
    assert found == pytest.approx(between_inlets(other, 0.05, 0.03), rel=1e-12)
    assert abs(found / between_inlets(CORE, 0.05, 0.03) - 1.0) <= abs(factor - 1.0)


def test_air_drop_of_a_core_is_that_of_the_core() -> None:
    """The drop is the core's own at the velocity on its face; the derating leaves it alone."""
    expected = louvred_core.air_pressure_drop(COMMON, 1.5, 1.1, 310.0)

    drop = CORE.air_drop(stream(1.5 * 1.1 * COMMON.face_area, 1.1, 310.0))

    assert float(drop[0]) == pytest.approx(float(expected), rel=1e-12)


def test_both_descriptions_of_one_radiator_agree_where_they_meet() -> None:
    """A rating taken from a core is that core at the rated point, and near it in between."""
    flow, liquid_flow = 0.06, 0.04
    single = CoreSection(replace(COMMON, passes=1), 0.85)
    point = between_inlets(single, flow, liquid_flow)
    section: RatedSection = rated(point, air_flow=flow, face_area=single.face_area)

    found = between_inlets(section, flow, 0.0331)

    assert found == pytest.approx(between_inlets(single, flow, 0.0331), rel=0.03)
    assert between_inlets(section, 0.7 * flow, 0.0331) == pytest.approx(
        between_inlets(single, 0.7 * flow, 0.0331), rel=0.05
    )
