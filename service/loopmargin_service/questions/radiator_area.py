"""`radiator-area`: conductance, face area and sections that a heat load needs."""

import math

import numpy as np

from loopmargin_service.physics import air
from loopmargin_service.physics.exchanger import series_conductance
from loopmargin_service.physics.radiator import Section
from loopmargin_service.questions import parts, radiator_draws, wording
from loopmargin_service.questions.affinity import too_fast
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
from loopmargin_service.questions.radiator_curve import (
    CoolantStream,
    area_curve,
    over_velocities,
    sections_for,
)
from loopmargin_service.questions.radiator_draws import DrawnRadiators
from loopmargin_service.questions.radiator_range import radiator_notes
from loopmargin_service.questions.section_air import Air, air_notes, section_air
from loopmargin_service.questions.spreads import support_notes
from loopmargin_wire.answer import Basis, Margin, Outcome
from loopmargin_wire.radiator import CoreRadiator, Radiator
from loopmargin_wire.radiator_area import (
    AirState,
    AllowedRise,
    GivenFans,
    RadiatorAreaAnswer,
    RadiatorAreaQuestion,
    RadiatorState,
)

HOTTEST_COOLANT_C = 95.0
# The most sections that the question takes, far more than a machine has room for.
MOST_ADVISED = 20
# A rise that no thermometer tells from zero. [K]
LEAST_RISE = 0.01


def answer(question: RadiatorAreaQuestion) -> RadiatorAreaAnswer:
    """Compare the conductance that is needed with the one that the sections have."""
    section = parts.section(question.radiator, ("radiator",))
    target_c = _target_c(question)
    parts.above_freezing(parts.mix(question.coolant), target_c, ("target",))
    rise = target_c - question.room.air_c
    if rise < LEAST_RISE:
        return _no_point(
            question,
            f"the coolant may be {target_c:g} degC but the room air is {question.room.air_c:g} "
            "degC; a radiator cannot cool to or below the air that enters it",
            "Allow a warmer coolant or cool the room.",
        )
    if target_c > HOTTEST_COOLANT_C:
        return _no_point(
            question,
            f"the coolant would be {target_c:g} degC, beyond {HOTTEST_COOLANT_C:g} degC where "
            "its properties are no longer known well and it is close to boiling",
            "Ask for a smaller rise.",
        )
    fast = too_fast((), [question.air.fans] if isinstance(question.air, GivenFans) else [])
    if fast is not None:
        return _no_state(question, fast)
    stream = section_air(question, section)
    return _answer(question, section, stream, coolant(question, target_c))


def _target_c(question: RadiatorAreaQuestion) -> float:
    """Give the allowed temperature of the coolant entering the radiator."""
    if isinstance(question.target, AllowedRise):
        return question.room.air_c + question.target.rise_k
    return question.target.coolant_c


def coolant(question: RadiatorAreaQuestion, target_c: float) -> CoolantStream:
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


def _answer(
    question: RadiatorAreaQuestion, section: Section, stream: Air, water: CoolantStream
) -> RadiatorAreaAnswer:
    """Put the state, the margins and the notes together."""
    rise = celsius(water.inlet) - question.room.air_c
    found = radiator_draws.draw(question, section, stream, (water, rise))
    state = _state(question, section, stream, (water, found))
    return RadiatorAreaAnswer(
        edition=EDITION,
        outcome=_outcome(question, state, water),
        margins=_margins(question, state, found),
        basis=basis(question.radiator, question.coolant.__class__.__name__),
        notes=(
            *radiator_notes(question.radiator, section, stream.velocity, "/radiator"),
            *air_notes(question),
            *support_notes(state.simulation),
        ),
        cautions=(*wording.LIQUID_CAUTIONS, wording.FAN_CAUTION, wording.ESTIMATE_CAUTION),
        question=question,
        state=state,
    )


def _state(
    question: RadiatorAreaQuestion,
    section: Section,
    stream: Air,
    rest: tuple[CoolantStream, DrawnRadiators | None],
) -> RadiatorState:
    """Describe what the installed sections do."""
    water, found = rest
    curve = over_velocities(section, stream, water)
    rise = celsius(water.inlet) - question.room.air_c
    each = float(curve.conductance[0])
    count = question.section_count
    available = float(series_conductance(np.full(count, each), water.capacity))
    needed = question.heat_w / rise
    sections = float(sections_for(needed, curve.conductance[0], water.capacity))
    area_each = out(section.face_area, CM2)
    area = sections * area_each if math.isfinite(sections) else None
    return RadiatorState(
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
        sections_needed=None if area is None else math.ceil(sections - 1e-9),
        air=_air(question, section, stream, float(curve.pressure_drop[0])),
        area_curve=area_curve(needed, area_each, water.capacity, curve),
        simulation=radiator_draws.described(found, question.confidence),
    )


def _air(
    question: RadiatorAreaQuestion, section: Section, stream: Air, pressure_drop: float
) -> AirState:
    """Describe the air of one section."""
    air_flow = stream.velocity * section.face_area
    capacity = max(air_flow, 1e-9) * stream.density * air.HEAT_CAPACITY
    warm = question.room.air_c + question.heat_w / (question.section_count * capacity)
    return AirState(
        air_flow_m3_per_h=out(air_flow, M3_PER_H),
        face_velocity_m_per_s=stream.velocity,
        pressure_drop_pa=pressure_drop,
        fan_pressure_pa=stream.fan_pressure,
        air_out_c=min(warm, _target_c(question)),
    )


def _margins(
    question: RadiatorAreaQuestion, state: RadiatorState, found: DrawnRadiators | None
) -> tuple[Margin, ...]:
    """Judge conductance, rise and area; they are three views of one comparison."""
    needed, available = state.conductance_needed_w_per_k, state.conductance_available_w_per_k
    rows = [
        ("conductance", needed, available, "W/K"),
        ("coolant rise over room air", state.rise_at_heat_k, state.rise_k, "K"),
    ]
    left = found and found.surpluses(state.rise_k, state.area_installed_cm2)
    if state.area_needed_cm2 is not None:
        rows.append(("face area", state.area_needed_cm2, state.area_installed_cm2, "cm2"))
    return tuple(
        margin(*row, question.confidence, drawn)
        for row, drawn in zip(rows, left or (None, None, None), strict=False)
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
            advice=(_more_face(question, state.sections_needed, state.rise_at_heat_k),),
        )
    return Outcome(status="solved")


def _more_face(question: RadiatorAreaQuestion, sections: int, rise: float) -> str:
    """Advise what a machine can have: so many sections, or a rise [K] short of boiling."""
    warmer = ""
    if question.room.air_c + rise <= HOTTEST_COOLANT_C:
        warmer = f", or allow a rise of {rise:.1f} K"
    if sections <= MOST_ADVISED:
        return f"Install {sections} of these sections, run the fans faster{warmer}."
    return (
        f"No sensible number of these sections is enough with this air: it takes more than "
        f"{MOST_ADVISED}. Take stronger or faster fans, clear the way of the air, take radiators "
        f"of a larger face{warmer}."
    )


def basis(radiator: Radiator, fluid: str) -> tuple[Basis, ...]:
    """Name the laws behind the conductance."""
    laws = [wording.WATER if fluid == "Water" else wording.GLYCOL, wording.AIR]
    laws.append(wording.EFFECTIVENESS)
    if isinstance(radiator, CoreRadiator):
        return (*laws, wording.LOUVRED_HEAT, wording.LOUVRED_DROP, wording.GRILLES)
    return (*laws, wording.RATED, wording.GRILLES)


def _no_point(question: RadiatorAreaQuestion, reason: str, advice: str) -> RadiatorAreaAnswer:
    """Answer a question that has no operating point."""
    outcome = Outcome(status="no_operating_point", reason=reason, advice=(advice,))
    return _no_state(question, outcome)


def _no_state(question: RadiatorAreaQuestion, outcome: Outcome) -> RadiatorAreaAnswer:
    """Answer a question that has no state to report."""
    return RadiatorAreaAnswer(
        edition=EDITION,
        outcome=outcome,
        margins=(),
        basis=basis(question.radiator, question.coolant.__class__.__name__),
        notes=(),
        cautions=(wording.ESTIMATE_CAUTION,),
        question=question,
        state=None,
    )
