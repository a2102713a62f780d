"""Dew points by independent libraries."""

import psychrolib
import pytest
from CoolProp.CoolProp import HAPropsSI

from loopmargin_service.physics import air
from tests.published.printed import Independent

pytestmark = pytest.mark.law("air.dew_point")

ASHRAE = Independent("psychrolib 2.5.0, tables of ASHRAE", abs=0.05)
REAL_GAS = Independent("CoolProp 8.0.0, moist air as a real gas", abs=0.02)

# Rooms where dew settles; over ice the library takes another law.
ROOMS = [(5.0, 1.0), *((t, h) for t in (18.0, 25.0, 35.0, 50.0) for h in (0.35, 0.5, 0.7, 1.0))]


@pytest.mark.parametrize(("celsius", "humidity"), ROOMS)
def test_equal_to_psychrometrics(celsius: float, humidity: float) -> None:
    """Within 0.05 K of psychrolib 2.5.0, as stated."""
    psychrolib.SetUnitSystem(psychrolib.SI)
    expected = psychrolib.GetTDewPointFromRelHum(celsius, humidity)

    ASHRAE.check(air.dew_point(celsius + 273.15, humidity) - 273.15, expected)


@pytest.mark.parametrize(("celsius", "humidity"), [(20.0, 0.5), (25.0, 0.5), (30.0, 0.7)])
def test_equal_to_the_real_gas(celsius: float, humidity: float) -> None:
    """Within 0.02 K of the real-gas moist air of CoolProp 8.0.0 in ordinary rooms."""
    expected = HAPropsSI("D", "T", celsius + 273.15, "P", 101325, "R", humidity)

    REAL_GAS.check(air.dew_point(celsius + 273.15, humidity), expected)
