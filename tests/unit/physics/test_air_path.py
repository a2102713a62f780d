"""Air paths: fans against cores and grilles, and the case as a node of a network."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from loopmargin_service.physics.air_path import (
    CASE,
    CURVE_DENSITY,
    ROOM,
    AirLaw,
    AirPath,
    air_topology,
    fan_pressure,
)
from loopmargin_service.physics.network import links_without_return
from loopmargin_service.physics.radiator import AirStream
from tests.unit.physics.bench_air import (
    CORE,
    CUBIC_METRE_PER_HOUR,
    FACE,
    ROOM_TEMPERATURE,
    air_flows,
    case_fan,
    fan,
    opening,
    outside,
    rated,
)

ROUGH = settings(deadline=None, max_examples=40)
DENSITIES = st.floats(0.7, 1.3)


@st.composite
def cases(draw: st.DrawFn) -> list[AirPath]:
    """Draw a case with one or two holes and up to four fans or fanned radiators, any way round."""
    paths = [opening(draw(st.floats(0.001, 0.02)), draw(st.floats(1.0, 10.0)))]
    ways = st.sampled_from([(ROOM, CASE), (CASE, ROOM), (ROOM, ROOM)])
    for _ in range(draw(st.integers(1, 4))):
        tail, head = draw(ways)
        curve = fan(draw(st.floats(5.0, 60.0)), draw(st.floats(40.0, 150.0)))
        section = draw(st.sampled_from([None, rated(), CORE]))
        area = section.face_area if section else 0.0113
        count = draw(st.integers(1, 3))
        paths.append(AirPath(area, tail, head, draw(st.floats(1.0, 5.0)), section, curve, count))
    return paths


def test_a_grille_loses_its_coefficient_times_the_velocity_head() -> None:
    """K 2.1 at 1.5 m/s and 1.18 kg/m3 is 2.1 x 1.18 x 1.5^2 / 2 = 2.78775 Pa, either way."""
    path = AirPath(0.01, ROOM, CASE, 2.1)
    flow = 1.18 * 1.5 * 0.01 * np.array([[1.0, -1.0]])
    state = np.full((1, 2), 1.18), np.full((1, 2), ROOM_TEMPERATURE)

    drop, slope = AirLaw([path], *state, np.ones((1, 2)))(flow)

    np.testing.assert_allclose(drop, [[2.78775, -2.78775]], rtol=1e-12)
    np.testing.assert_allclose(slope, 2.0 * 2.78775 / np.abs(flow), rtol=1e-12)


@pytest.mark.parametrize(("ratio", "denser"), [(1.0, 1.0), (2.0 / 3.0, 1.0), (1.0, 0.784556)])
@pytest.mark.parametrize("count", [1, 2])
def test_fan_laws(ratio: float, denser: float, count: int) -> None:
    """Flow goes with speed and count, pressure with speed squared and with density."""
    volume = ratio * count * 55.0 * CUBIC_METRE_PER_HOUR
    density = np.array([denser * CURVE_DENSITY])
    stream = AirStream(volume * density, density, np.array([ROOM_TEMPERATURE]))
    path = outside(rated(), fan(), count)

    pressure, slope = fan_pressure(path, fan(), stream, np.array([ratio]))

    assert float(pressure[0]) == pytest.approx(0.75 * 30.0 * ratio**2 * denser, rel=1e-12)
    assert float(slope[0]) == pytest.approx(
        -15.0 * ratio**2 * denser / float(stream.flow[0]), rel=1e-12
    )


@ROUGH
@given(
    path=cases().map(lambda paths: paths[-1]),
    flow=st.floats(1e-3, 0.1),
    sign=st.sampled_from([1.0, -1.0]),
    density=DENSITIES,
    ratio=st.floats(0.2, 1.2),
)
def test_slopes_are_central_differences(
    path: AirPath, flow: float, sign: float, density: float, ratio: float
) -> None:
    """Losses, cores and fans together have the slope of finite differences of their drop."""
    state = np.full((1, 1), density), np.full((1, 1), ROOM_TEMPERATURE)
    law = AirLaw([path], *state, np.full((1, 1), ratio))
    here = np.full((1, 1), sign * flow)
    step = 1e-4 * here

    _, slope = law(here)
    numeric = (law(here + step)[0] - law(here - step)[0]) / (2.0 * step)

    # Where a law of the core bends, a difference on one side is off by the bend.
    np.testing.assert_allclose(slope, numeric, rtol=2e-3)


def test_no_slope_is_zero() -> None:
    """A hole that nothing flows through still has a slope to divide by."""
    state = np.full((1, 1), 1.2), np.full((1, 1), ROOM_TEMPERATURE)

    drop, slope = AirLaw([opening()], *state, np.ones((1, 1)))(np.zeros((1, 1)))

    assert drop[0, 0] == 0.0
    assert slope[0, 0] > 0.0


def test_without_a_path_to_the_case_the_room_is_the_only_node() -> None:
    """Radiators outside the case neither know of it nor of each other."""
    paths = [outside(rated(), fan()), outside(rated(), fan(20.0))]

    together = air_flows(paths)
    apart = [air_flows([path]).flow[0, 0] for path in paths]

    assert air_topology(paths).node_count == 1
    np.testing.assert_allclose(together.flow[:, 0], apart, rtol=1e-8)
    assert together.pressure.tolist() == [[0.0]]


def test_a_radiator_outside_does_not_feel_the_case() -> None:
    """Beside a ventilated case, the flow of a radiator outside is what it is alone."""
    alone = air_flows([outside(rated(), fan())]).flow[0, 0]

    found = air_flows([outside(rated(), fan()), case_fan(), opening()])

    assert found.flow[0, 0] == pytest.approx(alone, rel=1e-8)


@ROUGH
@given(paths=cases(), density=DENSITIES, ratio=st.floats(0.2, 1.2))
def test_the_case_keeps_no_air(paths: list[AirPath], density: float, ratio: float) -> None:
    """What is blown into the case leaves it, to 1e-9 of the largest flow."""
    flow = air_flows(paths, density, speed=ratio).flow[:, 0]
    into = sum(f for f, path in zip(flow, paths, strict=True) if path.head == CASE)
    out = sum(f for f, path in zip(flow, paths, strict=True) if path.tail == CASE)

    assert abs(into - out) <= 1e-9 * np.abs(flow).max()


@ROUGH
@given(paths=cases(), ratio=st.floats(0.2, 1.2))
def test_every_path_sees_the_pressure_of_the_case(paths: list[AirPath], ratio: float) -> None:
    """Losses less fan pressure of each path are the pressure between its ends."""
    found = air_flows(paths, speed=ratio)
    state = np.full((len(paths), 1), CURVE_DENSITY), np.full((len(paths), 1), ROOM_TEMPERATURE)

    drop, _ = AirLaw(paths, *state, np.full((len(paths), 1), ratio))(found.flow)

    pressure = np.array([0.0, *found.pressure[1:, 0]])
    expected = [pressure[path.tail] - pressure[path.head] for path in paths]
    np.testing.assert_allclose(drop[:, 0], expected, atol=1e-6)


def test_fans_that_blow_in_press_air_out_of_the_holes() -> None:
    """With intake fans the case is above the room and its hole blows out; and the other way."""
    blown = air_flows([case_fan(), opening()])
    drawn = air_flows([case_fan(CASE, ROOM), opening()])

    assert blown.pressure[1, 0] > 0.0 > blown.flow[1, 0]
    assert drawn.pressure[1, 0] < 0.0 < drawn.flow[1, 0]
    assert drawn.pressure[1, 0] == pytest.approx(-blown.pressure[1, 0], rel=1e-8)


def test_the_pressure_of_a_case_with_one_hole() -> None:
    """The hole lets out what the fan brings, at its own velocity head times K."""
    found = air_flows([case_fan(), opening(0.004, 2.5)])
    velocity = found.flow[0, 0] / (CURVE_DENSITY * 0.004)

    assert found.pressure[1, 0] == pytest.approx(2.5 * 0.5 * CURVE_DENSITY * velocity**2, rel=1e-7)


def test_a_wide_open_case_is_no_hindrance() -> None:
    """With a hole as large as a wall, a radiator at the case blows as it does outside."""
    radiator = AirPath(FACE, ROOM, CASE, 0.0, rated(), fan(), 1)

    found = air_flows([radiator, opening(1.0, 1.0)])

    alone = air_flows([outside(rated(), fan())]).flow[0, 0]
    assert found.flow[0, 0] == pytest.approx(alone, rel=1e-4)


def test_two_holes_share_by_area() -> None:
    """Two holes of one loss coefficient pass air in proportion to their area."""
    flow = air_flows([case_fan(), opening(0.002), opening(0.006)]).flow[:, 0]

    assert flow[2] / flow[1] == pytest.approx(3.0, rel=1e-7)


def test_two_fans_side_by_side_are_two_equal_paths() -> None:
    """Two fans on twice the face blow twice what one blows on one face."""
    one = air_flows([outside(rated(), fan())]).flow[0, 0]

    two = air_flows([outside(rated(face_area=2.0 * FACE), fan(), 2)]).flow[0, 0]

    assert two == pytest.approx(2.0 * one, rel=1e-9)


def test_a_strong_fan_blows_back_through_a_weak_one() -> None:
    """Fans have no check valve: beside a far stronger one, a weak exhaust fan runs backwards."""
    strong, weak = case_fan(CASE, ROOM, fan(60.0, 150.0)), case_fan(CASE, ROOM, fan(3.0, 40.0))

    flow = air_flows([strong, weak, opening(0.0005, 3.0)]).flow[:, 0]

    assert flow[1] < 0.0 < flow[0]


def test_batch_equals_single_cases() -> None:
    """Speeds and densities in a batch give what they give one by one."""
    paths = [case_fan(), AirPath(FACE, CASE, ROOM, 1.0, CORE, fan(), 2), opening()]
    speed, density = np.array([0.3, 0.7, 1.1]), np.array([0.9, 1.1, 1.2])

    together = air_flows(paths, density, speed=speed).flow

    for case in range(3):
        alone = air_flows(paths, density[case], speed=speed[case]).flow[:, 0]
        np.testing.assert_allclose(together[:, case], alone, rtol=1e-7, atol=1e-9)


@ROUGH
@given(paths=cases(), data=st.data())
def test_the_order_of_paths_is_free(paths: list[AirPath], data: st.DataObject) -> None:
    """The paths in any other order carry the same air."""
    order = data.draw(st.permutations(range(len(paths))))

    flow = air_flows(paths).flow

    np.testing.assert_allclose(
        air_flows([paths[row] for row in order]).flow, flow[order], atol=1e-6 * np.abs(flow).max()
    )


@ROUGH
@given(slow=st.floats(0.2, 1.0), more=st.floats(1.0, 1.5), section=st.sampled_from([rated(), CORE]))
def test_faster_fans_never_blow_less(slow: float, more: float, section: object) -> None:
    """On one radiator, more speed never lowers the flow."""
    path = outside(section, fan())  # type: ignore[arg-type]

    flow = air_flows([path], speed=np.array([slow, slow * more])).flow[0]

    assert flow[1] >= flow[0] * (1.0 - 1e-9)


def test_a_lone_opening_leads_nowhere() -> None:
    """A single way into the case is named as a link without return."""
    assert links_without_return(air_topology([opening()])) == [0]
    assert links_without_return(air_topology([opening(), outside(rated(), fan())])) == [0]
    assert links_without_return(air_topology([opening(), case_fan()])) == []


def test_air_that_nothing_drives_comes_to_rest_soon() -> None:
    """Two holes in a case beside a radiator that blows outside: each step halves the flow."""
    flows = air_flows([outside(rated(), fan()), opening(), opening(0.02)])

    assert np.abs(flows.flow[1:]).max() < 1e-4 * flows.flow[0, 0]
    assert flows.iterations[0] < 30
