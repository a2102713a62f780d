"""Laws behind a level, and what to know about it."""

from loopmargin_service.physics.sound import LEAST_DIFFERENCE
from loopmargin_service.questions.affinity import FAN_RANGE
from loopmargin_wire.answer import Basis, Note
from loopmargin_wire.noise import NoiseQuestion, NoiseState, NoisyFans

# Common practice, no source: two edges of a compact case.
NEAR_FIELD_M = 1.0

BASIS = (
    Basis(
        quantity="sum of sources and background",
        law="incoherent sources add in energy",
        source="ISO 3744; ECMA TR/107",
    ),
    Basis(
        quantity="level over speed",
        law="exponent times the logarithm of the speed, and a floor that stays",
        source="fan laws with the fan sound power of the ASHRAE Handbook give 50; 55 for small "
        "fans and 40 for pumps are common practice, no source",
    ),
    Basis(
        quantity="level of fans over air density",
        law="20 lg of the density",
        source="R. Madison, Fan Engineering, 1949",
    ),
    Basis(
        quantity="level over distance",
        law="spherical spreading, over a floor or between floor and wall",
        source="ISO 3744",
    ),
    Basis(quantity="A-weighting", law="formula of annex E", source="IEC 61672-1"),
    Basis(
        quantity="installation",
        law="allowance in decibels",
        source="common practice, no source",
    ),
)
FREE_ROOM_NOTE = Note(
    code="room_reflections_left_out",
    text="Reflections of the room are left out; a small bare room is louder. Tones, rattle and "
    "whine are not judged by a level.",
)
INSTALLATION_NOTE = Note(
    code="installation_uncertain",
    text="A fan on a radiator, behind a grille or in a case is louder than it was measured: 3 dB "
    "is usual, 1 to 8 dB occur.",
)


def noise_notes(question: NoiseQuestion, state: NoiseState) -> tuple[Note, ...]:
    """Note what is left out, what is assumed, and what is near or outside a range."""
    notes = [FREE_ROOM_NOTE]
    if any(isinstance(source, NoisyFans) for source in question.sources):
        notes.append(INSTALLATION_NOTE)
    if question.listener.distance_m < NEAR_FIELD_M:
        notes.append(
            Note(
                code="near_field",
                text="closer than about twice the size of the machine the level rises less than "
                "the distance law says; the level given is on the safe side.",
                pointer="/listener/distance_m",
            )
        )
    above = state.above_background_db
    if above is not None and above < LEAST_DIFFERENCE:
        notes.append(
            Note(
                code="background_too_loud_to_measure",
                text=f"the machine lifts a meter by {above:.1f} dB over this background; below "
                f"{LEAST_DIFFERENCE:g} dB only an upper bound of its level can be measured.",
                pointer="/listener/background_dba",
            )
        )
    return (*notes, *_speed_notes(state))


def _speed_notes(state: NoiseState) -> tuple[Note, ...]:
    """Note sources that run far from the speed of their measurement."""
    low, high = FAN_RANGE
    return tuple(
        Note(
            code="speed_law_range",
            text=f"{row.source} runs at {row.speed_ratio:.2g} times the speed that it was measured "
            f"at; the speed law is trusted for {low:g} to {high:g}.",
            pointer=f"/sources/{number}/speed_rpm",
        )
        for number, row in enumerate(state.sources)
        if not low <= row.speed_ratio <= high
    )
