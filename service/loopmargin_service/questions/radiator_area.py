"""`radiator-area`: conductance, face area and sections that a heat load needs."""

import math
from typing import NamedTuple

import numpy as np

from loopmargin_service.physics import air
from loopmargin_service.physics.coolant import Properties
from loopmargin_service.physics.exchanger import series_conductance
from loopmargin_service.physics.network import Array
from loopmargin_service.physics.radiator import AirStream, Section, conductance
from loopmargin_service.questions import parts, uncertainty, wording
from loopmargin_service.questions.conversion import (
    CM2,
    L_PER_MIN,
    M3_PER_H,
    celsius,
    kelvin,
    out,
)
from loopmargin_service.questions.edition import EDITION
from loopmargin_service.questions.margins import margin
from loopmargin_service.questions.radiator_range import radiator_notes
from loopmargin_service.questions.section_air import Air, air_notes, section_air
from loopmargin_wire.answer import Basis, Margin, Outcome
from loopmargin_wire.radiator import CoreRadiator, Radiator
from loopmargin_wire.radiator_area import (
    AirState,
    AllowedRise,
    AreaPoint,
    RadiatorAreaAnswer,
    RadiatorAreaQuestion,
    RadiatorState,
)

HOTTEST_COOLANT_C = 95.0
CURVE_VELOCITIES = np.array([0.25, 0.4, 0.6, 0.8, 1.0, 1.25, 1.5, 1.75, 2.0, 2.5, 3.0, 4.0])
# The operating point stands first, then a neighbour that gives the sensitivity to air flow.
NEIGHBOUR = 1.01
MOST_SECTIONS = 1e6
# A rise that no thermometer tells from zero. [K]
LEAST_RISE = 0.01


class CoolantStream(NamedTuple):
    """The coolant stream: temperature in [K], mass flow [kg/s], capacity [W/K], properties."""

    inlet: float
    flow: float
    capacity: float
    liquid: Properties


def answer(question: RadiatorAreaQuestion) -> RadiatorAreaAnswer:
    """Compare the conductance that is needed with the one that the sections have."""
    section = parts.section(question.radiator, ("radiator",))
    target_c = _target_c(question)
    parts.above_freezing(parts.mix(question.coolant), target_c, ("target",))
    rise = target_c - question.room.air_c
    if rise < LEAST_RISE:
        return _no_state(
            question,
            f"the coolant may be {target_c:g} degC but the room air is {question.room.air_c:g} "
            "degC; a radiator cannot cool to or below the air that enters it",
            "Allow a warmer coolant or cool the room.",
        )
    if target_c > HOTTEST_COOLANT_C:
        return _no_state(
            question,
            f"the coolant would be {target_c:g} degC, beyond {HOTTEST_COOLANT_C:g} degC where "
            "its properties are no longer known well and it is close to boiling",
            "Ask for a smaller rise.",
        )
    stream = section_air(question, section)
    return _answer(question, section, stream, _coolant(question, target_c))


def _target_c(question: RadiatorAreaQuestion) -> float:
    """Give the allowed temperature of the coolant entering the radiator."""
    if isinstance(question.target, AllowedRise):
        return question.room.air_c + question.target.rise_k
    return question.target.coolant_c


def _coolant(question: RadiatorAreaQuestion, target_c: float) -> CoolantStream:
    """Describe the coolant at the mean of what enters and what leaves."""
    mix = parts.mix(question.coolant)
    entering = parts.liquid(mix, target_c)
    volume = question.flow_l_per_min * L_PER_MIN
    drop = question.heat_w / (volume * float(entering.density[0] * entering.heat_capacity[0]))
    lowest = max(parts.freezing_c(mix) + 1.0, question.room.air_c)
    mean_c = min(max(target_c - 0.5 * drop, lowest), target_c)
    liquid = parts.liquid(mix, mean_c)
    flow = volume * float(liquid.density[0])
    return CoolantStream(kelvin(target_c), flow, flow * float(liquid.heat_capacity[0]), liquid)


class _Curve(NamedTuple):
    """Conductance of one section and air pressure drop over velocities."""

    velocity: Array
    conductance: Array
    pressure_drop: Array


def _over_velocities(section: Section, stream: Air, water: CoolantStream) -> _Curve:
    """Evaluate one section at its operating point, beside it, and over the curve."""
    velocity = np.concatenate([[stream.velocity, stream.velocity * NEIGHBOUR], CURVE_VELOCITIES])
    air_stream = AirStream(
        velocity * stream.density * section.face_area,
        np.full_like(velocity, stream.density),
        np.full_like(velocity, stream.temperature),
    )
    flow = np.full_like(velocity, water.flow)
    return _Curve(
        velocity,
        conductance(section, air_stream, flow, water.liquid),
        section.air_drop(air_stream),
    )


def sections_for(needed: float, each: float, capacity: float) -> float | None:
    """Give the number of sections in series, as a fraction; none when no number suffices.

    Each section has fresh air, so n of them leave (1 - G/C)**n of the inlet difference. More
    than `MOST_SECTIONS` are as good as none.
    """
    if needed >= capacity or each <= 0.0:
        return None
    sections = math.log1p(-needed / capacity) / math.log1p(-min(each / capacity, 1.0 - 1e-12))
    return sections if sections <= MOST_SECTIONS else None


def _answer(
    question: RadiatorAreaQuestion, section: Section, stream: Air, water: CoolantStream
) -> RadiatorAreaAnswer:
    """Put the state, the margins and the notes together."""
    curve = _over_velocities(section, stream, water)
    state, spread = _state(question, section, stream, (water, curve))
    return RadiatorAreaAnswer(
        edition=EDITION,
        outcome=_outcome(question, state, water),
        margins=_margins(question, state, spread),
        basis=basis(question.radiator, question.coolant.__class__.__name__),
        notes=(
            *radiator_notes(question.radiator, section, stream.velocity, "/radiator"),
            *air_notes(question),
        ),
        cautions=(*wording.LIQUID_CAUTIONS, wording.FAN_CAUTION, wording.ESTIMATE_CAUTION),
        question=question,
        state=state,
    )


def _state(
    question: RadiatorAreaQuestion,
    section: Section,
    stream: Air,
    rest: tuple[CoolantStream, _Curve],
) -> tuple[RadiatorState, float]:
    """Give the state and the relative uncertainty of the conductance available."""
    water, curve = rest
    rise = celsius(water.inlet) - question.room.air_c
    each = float(curve.conductance[0])
    count = question.section_count
    available = float(series_conductance(np.full(count, each), water.capacity))
    needed = question.heat_w / rise
    sections = sections_for(needed, each, water.capacity)
    area_each = out(section.face_area, CM2)
    area = None if sections is None else sections * area_each
    air_flow = stream.velocity * section.face_area
    warming = question.heat_w / (count * max(air_flow, 1e-9) * stream.density * air.HEAT_CAPACITY)
    state = RadiatorState(
        rise_k=rise,
        conductance_needed_w_per_k=needed,
        conductance_available_w_per_k=available,
        conductance_per_section_w_per_k=each,
        coolant_in_c=celsius(water.inlet),
        coolant_out_c=celsius(water.inlet - min(question.heat_w / water.capacity, rise)),
        heat_carried_at_target_w=available * rise,
        rise_at_heat_k=min(question.heat_w / available, 1e4),
        area_installed_cm2=count * area_each,
        area_needed_cm2=area,
        area_per_watt_cm2_per_w=None if area is None else area / question.heat_w,
        sections_needed=None if sections is None else math.ceil(sections - 1e-9),
        air=AirState(
            air_flow_m3_per_h=out(air_flow, M3_PER_H),
            face_velocity_m_per_s=stream.velocity,
            pressure_drop_pa=float(curve.pressure_drop[0]),
            fan_pressure_pa=stream.fan_pressure,
            air_out_c=min(question.room.air_c + warming, celsius(water.inlet)),
        ),
        area_curve=_area_curve(needed, area_each, water.capacity, curve),
    )
    return state, _relative_uncertainty(question, stream, curve)


def _area_curve(
    needed: float, area_each: float, capacity: float, curve: _Curve
) -> tuple[AreaPoint, ...]:
    """Give the face area needed over face velocity."""
    points = []
    for velocity, each, drop in zip(*(part[2:] for part in curve), strict=True):
        sections = sections_for(needed, float(each), capacity)
        points.append(
            AreaPoint(
                face_velocity_m_per_s=float(velocity),
                area_cm2=None if sections is None else sections * area_each,
                air_pressure_drop_pa=float(drop),
            )
        )
    return tuple(points)


def _relative_uncertainty(question: RadiatorAreaQuestion, stream: Air, curve: _Curve) -> float:
    """Combine the law's scatter with the air flow's, through the sensitivity found."""
    low, high = (max(float(value), 1e-12) for value in curve.conductance[:2])
    exponent = math.log(high / low) / math.log(NEIGHBOUR)
    flow = uncertainty.STATED_AIR_FLOW if stream.stated else uncertainty.INSTALLED_AIR_FLOW
    rated = not isinstance(question.radiator, CoreRadiator)
    law = uncertainty.RATED_CONDUCTANCE if rated else uncertainty.CORE_CONDUCTANCE
    return uncertainty.combined(law, exponent * flow)


def _margins(
    question: RadiatorAreaQuestion, state: RadiatorState, spread: float
) -> tuple[Margin, ...]:
    """Judge conductance, rise and area; they are three views of one comparison.

    The scatter is one of ratios, so it is the logarithm of the conductance that is judged.
    """
    needed, available = state.conductance_needed_w_per_k, state.conductance_available_w_per_k
    deviations = math.log(max(available, 1e-12) / needed) / spread
    rows = [
        ("conductance", needed, available, "W/K"),
        ("coolant rise over room air", state.rise_at_heat_k, state.rise_k, "K"),
    ]
    if state.area_needed_cm2 is not None:
        rows.append(("face area", state.area_needed_cm2, state.area_installed_cm2, "cm2"))
    return tuple(
        margin(
            *row,
            uncertainty.sharing_chance(row[2] - row[1], deviations, spread * row[1]),
            question.confidence,
        )
        for row in rows
    )


def _outcome(question: RadiatorAreaQuestion, state: RadiatorState, water: CoolantStream) -> Outcome:
    """Say what would help where the sections are not enough."""
    if state.area_needed_cm2 is None:
        needed = state.conductance_needed_w_per_k
        reason = "no area suffices: no air moves through the radiator"
        if needed >= water.capacity:
            reason = (
                f"no area suffices: {needed:.3g} W/K are needed and this coolant flow carries "
                f"{water.capacity:.3g} W/K at most"
            )
        advice = "Raise the coolant flow, allow a larger rise or move more air."
        return Outcome(status="solved", reason=reason, advice=(advice,))
    if state.sections_needed is not None and state.sections_needed > question.section_count:
        return Outcome(
            status="solved",
            reason="fails: the installed face is too small",
            advice=(
                (
                    f"Install {state.sections_needed} of these sections, run the fans faster, or "
                    f"allow a rise of {state.rise_at_heat_k:.1f} K."
                ),
            ),
        )
    return Outcome(status="solved")


def basis(radiator: Radiator, fluid: str) -> tuple[Basis, ...]:
    """Name the laws behind the conductance."""
    laws = [wording.WATER if fluid == "Water" else wording.GLYCOL, wording.AIR]
    laws.append(wording.EFFECTIVENESS)
    if isinstance(radiator, CoreRadiator):
        return (*laws, wording.LOUVRED_HEAT, wording.LOUVRED_DROP, wording.GRILLES)
    return (*laws, wording.RATED, wording.GRILLES)


def _no_state(question: RadiatorAreaQuestion, reason: str, advice: str) -> RadiatorAreaAnswer:
    """Answer a question that has no state to report."""
    return RadiatorAreaAnswer(
        edition=EDITION,
        outcome=Outcome(status="no_operating_point", reason=reason, advice=(advice,)),
        margins=(),
        basis=basis(question.radiator, question.coolant.__class__.__name__),
        notes=(),
        cautions=(wording.ESTIMATE_CAUTION,),
        question=question,
        state=None,
    )
