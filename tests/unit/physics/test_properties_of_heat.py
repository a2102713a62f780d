"""Random exchangers, tubes and fins: limits, bounds, order, scale and ways back."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from loopmargin_service.physics import exchanger, flat_tube, louvred_core, louvred_fin
from loopmargin_service.physics.coolant import properties
from loopmargin_service.physics.core_geometry import Core
from tests.unit.physics.core_examples import COMMON, cores

MANY = settings(derandomize=True, max_examples=100)
UNITS = st.floats(1e-3, 20.0)
RATIOS = st.floats(1e-6, 1.0)
MORE = st.floats(1.01, 3.0)
MIXED = (exchanger.effectiveness_cmax_mixed, exchanger.effectiveness_cmin_mixed)


@MANY
@given(units=UNITS, ratio=RATIOS, more=MORE)
def test_a_mixed_stream_exchanges_no_more(units: float, ratio: float, more: float) -> None:
    """Mixing never helps, more units never hurt, and a ratio near zero forgets the arrangement."""
    unmixed = exchanger.effectiveness_crossflow_unmixed(units, ratio)

    for law in MIXED:
        found = law(units, ratio)
        assert 0.0 < found <= unmixed * (1.0 + 1e-9)
        assert law(units * more, ratio) >= found
        assert law(units, 1e-9) == pytest.approx(-np.expm1(-units), rel=1e-6)


@MANY
@given(units=UNITS)
def test_equal_streams_do_not_know_which_is_mixed(units: float) -> None:
    """With equal capacity rates both one-sided arrangements are the same exchanger."""
    cmax_mixed, cmin_mixed = (law(units, 1.0) for law in MIXED)

    assert cmax_mixed == pytest.approx(float(cmin_mixed), rel=1e-12)


@MANY
@given(
    share=st.floats(0.01, 0.9),
    capacity=st.floats(1.0, 500.0),
    basis=st.sampled_from(["coolant_inlet", "coolant_mean", "coolant_outlet"]),
)
def test_a_rating_moves_the_same_heat_on_every_basis(
    share: float, capacity: float, basis: exchanger.Basis
) -> None:
    """State the heat of one radiator on any temperature: the inlet basis comes back."""
    conductance = share * capacity
    rise = 20.0
    heat = conductance * rise
    fall = {"coolant_inlet": 0.0, "coolant_mean": 0.5, "coolant_outlet": 1.0}[basis]
    stated = heat / (rise - fall * heat / capacity)

    found = exchanger.rating_to_inlet_basis(stated, basis, capacity)

    assert found == pytest.approx(conductance, rel=1e-9)


@MANY
@given(length=st.floats(5e-4, 10.0), more=MORE, side=st.floats(0.0, 0.9), step=st.floats(0.01, 0.1))
def test_developing_flow_falls_to_the_developed(
    length: float, more: float, side: float, step: float
) -> None:
    """Longer tubes transfer less, down to the developed value, which falls towards the square.

    To 1 %: between plates the law for long tubes ends 0.0235 over the length above it.
    """
    found = flat_tube.laminar_nusselt(length, side)
    developed = flat_tube.developed_nusselt(side)

    assert found > flat_tube.laminar_nusselt(length * more, side) > developed
    assert flat_tube.laminar_nusselt(1.0, side) == pytest.approx(developed, rel=0.01)
    assert 7.541 >= developed > flat_tube.developed_nusselt(side + step) > 2.9


@MANY
@given(reynolds=st.floats(3000.0, 1e5), prandtl=st.floats(0.7, 100.0), more=MORE)
def test_turbulence_transfers_more_the_more_there_is(
    reynolds: float, prandtl: float, more: float
) -> None:
    """The Nusselt number rises with the Reynolds and the Prandtl number."""
    found = flat_tube.turbulent_nusselt(reynolds, prandtl)

    assert flat_tube.turbulent_nusselt(reynolds * more, prandtl) > found > 0.0
    assert flat_tube.turbulent_nusselt(reynolds, prandtl * more) > found


@MANY
@given(core=cores(), flow=st.floats(0.002, 0.5), more=MORE)
def test_more_coolant_in_the_tubes_transfers_more(core: Core, flow: float, more: float) -> None:
    """The coefficient never falls with the flow, and keeps above developed laminar flow."""
    water = properties("water", 0.0, np.array(313.15))
    thickness, width = core.tube_bore

    slow, fast = (louvred_core.liquid_coefficient(core, f, water) for f in (flow, flow * more))

    least = flat_tube.developed_nusselt(thickness / width) / core.tube_hydraulic_diameter
    assert fast >= slow * (1.0 - 1e-9)
    assert slow >= least * water.conductivity * (1.0 - 1e-9)


def enlarged(core: Core, factor: float) -> Core:
    """Make every length of the fins and tubes larger by a factor."""
    lengths = ["depth", "tube_pitch", "tube_thickness", "tube_wall", "fin_pitch", "fin_thickness"]
    lengths += ["louvre_pitch", "louvre_length"]
    return replace(core, **{name: factor * getattr(core, name) for name in lengths})


@MANY
@given(reynolds=st.floats(30.0, 3000.0), more=MORE, factor=st.floats(0.5, 2.0))
def test_fin_laws_know_ratios_only_and_more_air_transfers_more(
    reynolds: float, more: float, factor: float
) -> None:
    """The coefficient, Colburn factor times Reynolds number, rises.

    The factor itself falls, but for Park and Jacobi below a Reynolds number of about 150, where
    slow air no longer follows the louvres.
    """
    for law, directed in (
        (louvred_fin.colburn_factor_chang_wang, 0.0),
        (louvred_fin.colburn_factor_park_jacobi, 150.0),
    ):
        found, faster = float(law(COMMON, reynolds)), float(law(COMMON, reynolds * more))
        assert faster * more > found
        assert faster < found or reynolds < directed
        assert law(enlarged(COMMON, factor), reynolds) == pytest.approx(found, rel=1e-9)
