"""A common core, and a strategy of cores as wide as a question may ask for. Invented data."""

from hypothesis import strategies as st

from loopmargin_service.physics.core_geometry import Core

COMMON = Core(
    face_width=0.28,
    face_height=0.14,
    depth=0.03,
    tube_pitch=0.01,
    tube_thickness=0.002,
    tube_wall=0.0002,
    passes=2,
    fin_pitch=0.0254 / 18,
    fin_thickness=0.08e-3,
    fin_conductivity=380.0,
    louvre_pitch=1.2e-3,
    louvre_angle=27.0,
    louvre_length=6.8e-3,
)


@st.composite
def cores(draw: st.DrawFn) -> Core:
    """Any core that a question may describe, sensible or not."""
    gap = draw(st.floats(1.5, 25.0))
    thickness = draw(st.floats(0.8, 5.0))
    return Core(
        face_width=draw(st.floats(0.04, 1.0)),
        face_height=draw(st.floats(0.04, 1.0)),
        depth=1e-3 * draw(st.floats(10.0, 120.0)),
        tube_pitch=1e-3 * (gap + thickness),
        tube_thickness=1e-3 * thickness,
        tube_wall=1e-3 * draw(st.floats(0.05, 0.3)),
        passes=draw(st.sampled_from([1, 2])),
        fin_pitch=0.0254 / draw(st.floats(6.0, 30.0)),
        fin_thickness=1e-3 * draw(st.floats(0.03, 0.3)),
        fin_conductivity=draw(st.floats(10.0, 420.0)),
        louvre_pitch=1e-3 * draw(st.floats(0.5, 3.0)),
        louvre_angle=draw(st.floats(8.0, 35.0)),
        louvre_length=1e-3 * gap * draw(st.floats(0.5, 0.95)),
    )
