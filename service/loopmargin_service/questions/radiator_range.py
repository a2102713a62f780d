"""Notes on radiators used near or outside the range that their law was measured in."""

from loopmargin_service.physics import louvred_core
from loopmargin_service.physics.radiator import CoreSection, RatedSection, Section
from loopmargin_service.questions.affinity import FAN_RANGE, fan_ratio, fans_outside
from loopmargin_service.questions.conversion import M3_PER_H, MM, kelvin
from loopmargin_wire.answer import Note
from loopmargin_wire.part import Fans
from loopmargin_wire.radiator import Radiator, RatedRadiator

# Beyond this factor from the rated air flow the exponent carries the answer.
RATED_FACTOR = 2.0
FIELDS = {
    "louvre_pitch": "louvre_pitch_mm",
    "louvre_length": "louvre_length_fraction",
    "louvre_angle": "louvre_angle_deg",
    "fin_pitch": "fins_per_inch",
    "depth": "depth_mm",
    "fin_length": "tube_pitch_mm",
    "fin_thickness": "fin_thickness_mm",
    "tube_pitch": "tube_pitch_mm",
}
# Reference state for the Reynolds number; it moves little with the room.
AIR_DENSITY = 1.18
AIR_TEMPERATURE_C = 25.0


def radiator_notes(
    radiator: Radiator, section: Section, velocity: float, pointer: str
) -> tuple[Note, ...]:
    """Note what is outside a range, with the field that causes it."""
    if isinstance(section, CoreSection):
        return _core_notes(section, velocity, pointer)
    assert isinstance(radiator, RatedRadiator)  # noqa: S101 - a rated section comes from one
    return _rated_notes(radiator, section, velocity, pointer)


def core_reynolds(section: CoreSection, velocity: float) -> float:
    """Give the Reynolds number on the louvre pitch of a core. [-]"""
    temperature = kelvin(AIR_TEMPERATURE_C)
    return float(louvred_core.reynolds(section.core, velocity, AIR_DENSITY, temperature))


def rated_ratio(radiator: RatedRadiator, section: RatedSection, velocity: float) -> float:
    """Give the air flow over that of the rating. [-]"""
    return velocity * section.face_area / M3_PER_H / radiator.air_flow_m3_per_h


def _core_notes(section: CoreSection, velocity: float, pointer: str) -> tuple[Note, ...]:
    """Compare geometry and Reynolds number with the cores behind the correlations."""
    notes = []
    for name, (low, high) in louvred_core.GEOMETRY_RANGES.items():
        value = getattr(section.core, name)
        if not low <= value <= high:
            scale, unit = (1.0, "deg") if name == "louvre_angle" else (MM, "mm")
            notes.append(
                Note(
                    code="core_geometry_range",
                    text=f"{name.replace('_', ' ')} is {value / scale:.3g} {unit}; the cores "
                    f"behind the law have {low / scale:.3g} to {high / scale:.3g} {unit}.",
                    pointer=f"{pointer}/{FIELDS[name]}",
                )
            )
    reynolds = core_reynolds(section, velocity)
    low, high = louvred_core.REYNOLDS_RANGE
    if not low <= reynolds <= high:
        notes.append(
            Note(
                code="core_reynolds_range",
                text=f"the Reynolds number on the louvre pitch is {reynolds:.0f}; the correlation "
                f"was measured from {low:.0f} to {high:.0f}, and slower air is taken from the "
                "second source.",
                pointer=pointer,
            )
        )
    return tuple(notes)


def _rated_notes(
    radiator: RatedRadiator, section: RatedSection, velocity: float, pointer: str
) -> tuple[Note, ...]:
    """Compare the air flow with that of the rating."""
    ratio = rated_ratio(radiator, section, velocity)
    if 1.0 / RATED_FACTOR <= ratio <= RATED_FACTOR:
        return ()
    return (
        Note(
            code="far_from_rating",
            text=f"the air flow is {ratio:.2g} times that of the rating; the exponents are trusted "
            "for half to twice, within 7 %.",
            pointer=f"{pointer}/air_flow_m3_per_h",
        ),
    )


def fan_notes(fans: Fans, pointer: str) -> tuple[Note, ...]:
    """Note fans that run far from the speed of their curve."""
    if not fans_outside([fans]):
        return ()
    ratio, (low, high) = fan_ratio(fans), FAN_RANGE
    return (
        Note(
            code="affinity_range",
            text=f"{fans.fan.name} runs at {ratio:.2g} times the speed of its curve; the fan laws "
            f"are trusted for {low:g} to {high:g}.",
            pointer=f"{pointer}/speed_rpm",
        ),
    )
