"""Random questions about radiators, loops and machines, with the contradictions taken out.

Numbers are anywhere within the bounds of the wire. Curves are sorted until they fall, every
branch has a way back, coolant is above 0 degC in loops, and a rated radiator promises no
more than its streams can carry.
"""

import itertools
from collections.abc import Callable, Iterable, Sequence
from typing import Any, TypeVar, get_args

import msgspec
from hypothesis import strategies as st

from loopmargin_service.questions.affinity import FASTEST
from loopmargin_wire.part import Fan, FanPoint, Fans, HeadPoint, Pump, Reservoir, Room
from loopmargin_wire.pump_head import Branch, Element, PumpHeadQuestion
from loopmargin_wire.radiator import CoreRadiator, Radiator
from loopmargin_wire.radiator_area import AllowedCoolant, GivenFans, RadiatorAreaQuestion
from loopmargin_wire.sound import SoundDba
from loopmargin_wire.steady_state import (
    Case,
    CaseFans,
    FannedRadiator,
    HeatedBlock,
    MachineBranch,
    MachineElement,
    Opening,
    SteadyStateQuestion,
)
from loopmargin_wire.uncertainty import LoopUncertainty, Uncertainties
from tests.generated import questions

Link = TypeVar("Link", Branch, MachineBranch, Pump)
replace = msgspec.structs.replace

JUNCTIONS = ("suction", "delivery", "first", "second")
"""The first pump runs from the first to the second; branches lead back round the ring."""

APART = 1e-3
LIQUID_C = 3.0
LEAST_REACH = 0.02
# Rated air moves at least at 0.02 m/s.
SLOWEST_M3_PER_H_PER_MM2 = 0.02 * 3600.0 * 1e-6

HUM = SoundDba(level_dba=30.0, speed_rpm=1500.0)

# Air has 1 kJ/(kg K) and at least 0.5 kg in a cubic metre, water 4 MJ/(m3 K).
AIR_W_PER_K = 0.5 * 1000.0 / 3600.0
LIQUID_W_PER_K = 4.0e6 / 60_000.0


def apart(values: Iterable[float]) -> list[float]:
    """Sort values and leave out what stands too close to the one before it."""
    ordered = sorted(values)
    kept = ordered[:1]
    for value in ordered[1:]:
        if value - kept[-1] > APART * ordered[-1]:
            kept.append(value)
    return kept


def falling(points: Sequence[tuple[float, float]]) -> list[tuple[float, float]]:
    """Pair rising flows with falling pressures, each far enough from the next to tell apart."""
    flows = apart(flow for flow, _ in points)
    pressures = apart(pressure for _, pressure in points)[::-1]
    paired = list(zip(flows, pressures, strict=False))
    reaches = len(paired) > 1 and paired[-1][0] > LEAST_REACH and paired[0][1] > LEAST_REACH
    return paired if reaches else [(0.0, 10.0), (20.0, 1.0)]


def mended_pump(pump: Pump) -> Pump:
    """Make a pump's curve fall and say something at its speed, and give it a sound."""
    points = falling([(point.flow_l_per_min, point.head_m) for point in pump.curve])
    curve = tuple(HeadPoint(flow_l_per_min=x, head_m=y) for x, y in points)
    slow_enough = min(pump.speed_rpm, FASTEST * pump.curve_speed_rpm)
    return replace(pump, curve=curve, sound=pump.sound or HUM, speed_rpm=slow_enough)


def mended_fan(fan: Fan) -> Fan:
    """Sort the points of a fan until its curve falls, and give it a sound for a listener."""
    points = falling([(point.air_flow_m3_per_h, point.pressure_pa) for point in fan.curve])
    curve = tuple(FanPoint(air_flow_m3_per_h=x, pressure_pa=y) for x, y in points)
    return replace(fan, curve=curve, sound=fan.sound or HUM)


def mended_fans(fans: Fans) -> Fans:
    """Sort the points of equal fans, and run them where their curve says something."""
    slow_enough = min(fans.speed_rpm, FASTEST * fans.fan.curve_speed_rpm)
    return replace(fans, fan=mended_fan(fans.fan), speed_rpm=slow_enough)


def mended_radiator(radiator: Radiator) -> Radiator:
    """Lower a rating to what its streams carry, and open a core that has no room."""
    if isinstance(radiator, CoreRadiator):
        thickness = min(radiator.tube_thickness_mm, 0.6 * radiator.tube_pitch_mm)
        return replace(
            radiator,
            tube_thickness_mm=thickness,
            tube_wall_mm=min(radiator.tube_wall_mm, 0.3 * thickness),
            face_height_mm=max(radiator.face_height_mm, 2.0 * radiator.tube_pitch_mm),
        )
    slowest = radiator.face_width_mm * radiator.face_height_mm * SLOWEST_M3_PER_H_PER_MM2
    radiator = replace(
        radiator,
        air_flow_m3_per_h=max(radiator.air_flow_m3_per_h, slowest),
        air_pressure_drop=tuple(
            replace(point, air_flow_m3_per_h=max(point.air_flow_m3_per_h, slowest))
            for point in radiator.air_pressure_drop
        ),
    )
    carried = min(
        radiator.air_flow_m3_per_h * AIR_W_PER_K, radiator.flow_l_per_min * LIQUID_W_PER_K
    )
    largest = max(0.4 * carried, 0.1)
    return replace(radiator, conductance_w_per_k=min(radiator.conductance_w_per_k, largest))


def _mended_area(question: RadiatorAreaQuestion) -> RadiatorAreaQuestion:
    question = replace(question, radiator=mended_radiator(question.radiator))
    if isinstance(question.target, AllowedCoolant):
        target = replace(question.target, coolant_c=max(abs(question.target.coolant_c), LIQUID_C))
        question = replace(question, target=target)
    if isinstance(question.air, GivenFans):
        return replace(question, air=replace(question.air, fans=mended_fans(question.air.fans)))
    return question


def _mended_fanned(element: FannedRadiator) -> FannedRadiator:
    return replace(
        element, fans=mended_fans(element.fans), radiator=mended_radiator(element.radiator)
    )


def mended_block(block: HeatedBlock) -> HeatedBlock:
    """Leave excursions to cards."""
    return block if block.load == "card" else replace(block, excursion=None)


def _few(values: st.SearchStrategy[Any], least: int, most: int) -> st.SearchStrategy[Any]:
    return st.lists(values, min_size=least, max_size=most).map(tuple)


def _branches(kind: type[Link], element: object) -> st.SearchStrategy[Link]:
    """Draw branches of up to four elements; where they lead is settled later."""
    mends: dict[object, Callable[[Any], Any]] = {
        FannedRadiator: _mended_fanned,
        HeatedBlock: mended_block,
    }
    every: list[st.SearchStrategy[Any]] = [
        questions(member).map(mends[member]) if member in mends else questions(member)
        for member in get_args(element)
    ]
    return st.builds(
        kind,
        name=st.just("branch"),
        elements=_few(st.one_of(every), 1, 4),
        required_flow_l_per_min=st.none() | st.floats(0.05, 60.0),
    )


def _others(kind: type[msgspec.Struct]) -> st.SearchStrategy[dict[str, Any]]:
    """Draw the fields that are no part of the loop or the case."""
    settled = {"pumps", "branches", "reservoir", "case", "room"}
    drawn: dict[str, st.SearchStrategy[Any]] = {
        field.name: questions(field.type)
        for field in msgspec.structs.fields(kind)
        if field.name not in settled
    }
    drawn["room"] = questions(Room).map(
        lambda room: replace(room, air_c=max(abs(room.air_c), LIQUID_C))
    )
    # As few draws as the wire allows, for the sake of time.
    doubts = Uncertainties if kind is SteadyStateQuestion else LoopUncertainty
    least = questions(doubts).map(lambda given: replace(given, draws=200))
    drawn["uncertainty"] = st.none() | least
    return st.fixed_dictionaries(drawn)


def _between(link: Link, ends: Sequence[str]) -> Link:
    return replace(link, from_node=ends[0], to_node=ends[1])


@st.composite
def _joined(draw: st.DrawFn, branches: st.SearchStrategy[tuple[Link, ...]]) -> dict[str, Any]:
    """Draw pumps and branches and join them: a ring with chords, so that all have a way back."""
    drawn = draw(branches)
    pumps: tuple[Pump, ...] = draw(PUMPS)
    reservoir: Reservoir | None = draw(RESERVOIR)
    junctions: Sequence[str] = JUNCTIONS[: min(len(drawn) + 1, draw(st.integers(2, 4)))]
    ends: st.SearchStrategy[Sequence[str]] = st.permutations(junctions).map(lambda names: names[:2])
    around: list[Sequence[str]] = list(itertools.pairwise((*junctions[1:], junctions[0])))
    around += [draw(ends) for _ in drawn[len(around) :]]
    pumped = [junctions[:2], *(draw(ends) for _ in pumps[1:])]
    return {
        "pumps": tuple(map(_between, pumps, pumped)),
        "branches": tuple(map(_between, drawn, around)),
        "reservoir": reservoir and replace(reservoir, node=draw(st.sampled_from(junctions))),
    }


def _with_radiator(
    drawn: tuple[tuple[MachineBranch, ...], FannedRadiator],
) -> tuple[MachineBranch, ...]:
    (first, *others), radiator = drawn
    return (replace(first, elements=(*first.elements, _mended_fanned(radiator))), *others)


PUMPS = _few(questions(Pump).map(mended_pump), 1, 3)
RESERVOIR = st.none() | questions(Reservoir)
CASES = st.builds(
    Case,
    openings=_few(questions(Opening), 1, 2),
    fans=_few(
        questions(CaseFans).map(lambda fans: replace(fans, fans=mended_fans(fans.fans))), 0, 2
    ),
)

RADIATOR_AREA_QUESTIONS = questions(RadiatorAreaQuestion).map(_mended_area)
PUMP_HEAD_QUESTIONS = st.builds(
    lambda others, loop: PumpHeadQuestion(
        **{**others, **loop, "coolant_c": max(abs(others["coolant_c"]), LIQUID_C)}
    ),
    _others(PumpHeadQuestion),
    _joined(_few(_branches(Branch, Element), 1, 5)),
)
STEADY_STATE_QUESTIONS = st.builds(
    lambda others, loop, case: SteadyStateQuestion(**{**others, **loop, "case": case}),
    _others(SteadyStateQuestion),
    _joined(
        st.tuples(
            _few(_branches(MachineBranch, MachineElement), 1, 3), questions(FannedRadiator)
        ).map(_with_radiator)
    ),
    CASES,
)
