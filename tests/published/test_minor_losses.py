"""Loss coefficients of fittings against handbooks and an independent library."""

import math

import numpy as np
import pytest
from fluids.fittings import (
    Darby3K,
    bend_miter,
    bend_rounded,
    contraction_sharp,
    diffuser_sharp,
    entrance_sharp,
    exit_normal,
)
from fluids.friction import Clamond

from loopmargin_service.physics import fitting
from loopmargin_service.physics.pipe import friction_factor
from tests.published.printed import Independent, Printed

pytestmark = pytest.mark.law("fitting.adapter")

EPANET = "EPANET 2.2 User Manual, chapter 3, loss coefficients"
DOCUMENTED = "fluids 1.3.1, example in the documentation"
MUNICH = "H. Kirchbach and W. Schubart, Munich 1929, smooth mitre, from memory"
RENNELS = Independent("fluids 1.3.1 `bend_rounded`, Rennels", rel=1e-12)
CRANE = Independent("fluids 1.3.1 `bend_rounded`, Crane", rel=0.20)
MITRE = Independent("fluids 1.3.1 `bend_miter`, Rennels", rel=1e-12)
STEPS = Independent("fluids 1.3.1 `contraction_sharp` and `diffuser_sharp`", rel=1e-12)
TANKS = Independent("fluids 1.3.1 `entrance_sharp` and `exit_normal`", rel=1e-3)
DARBY = Independent("fluids 1.3.1 `Darby3K`", rel=1e-12)
ONE_SIZE = "one value for all sizes; three constants spread by 30 % about it"
MEASURED = "measured in one smooth pipe; handbooks spread by 30 % about such values"


def coefficient(loss: fitting.Loss, reynolds: float, factor: float) -> float:
    """Sum up a loss at a Reynolds number and a friction factor."""
    return float(loss.viscous / reynolds + loss.inertial + loss.friction_length * factor)


@pytest.mark.law("fitting.bend")
@pytest.mark.parametrize("degrees", [15.0, 45.0, 90.0, 180.0])
@pytest.mark.parametrize("radius", [0.6, 1.0, 1.5, 2.0, 3.0, 5.0])
def test_bend_equals_rennels(degrees: float, radius: float) -> None:
    """The same coefficient as by fluids 1.3.1 `bend_rounded`, method Rennels."""
    expected = bend_rounded(Di=0.010, angle=degrees, fd=0.031, bend_diameters=radius)

    actual = coefficient(fitting.bend(math.radians(degrees), radius), 1e4, 0.031)

    RENNELS.check(actual, expected)


@pytest.mark.law("fitting.bend")
def test_bend_of_a_documented_example() -> None:
    """A 30 degree bend of five bores has the printed coefficient with Colebrook's factor."""
    row = Printed(DOCUMENTED, "0.11519070808085191", "1", 1e-9, "more digits than the factor has")
    loss = fitting.bend(math.radians(30.0), 20.0 / 4.020)

    row.check(coefficient(loss, 1e5, Clamond(1e5, 0.0)))


@pytest.mark.law("fitting.bend")
@pytest.mark.parametrize("radius", [1.0, 1.5, 2.0, 3.0, 5.0])
def test_bend_is_near_to_crane(radius: float) -> None:
    """At 10 mm and Re 1e4 a right-angled bend is within 20 % of fluids 1.3.1, method Crane."""
    expected = bend_rounded(Di=0.010, angle=90.0, bend_diameters=radius, method="Crane")

    actual = coefficient(fitting.bend(0.5 * math.pi, radius), 1e4, float(friction_factor(1e4)))

    CRANE.check(actual, expected)


@pytest.mark.parametrize("degrees", [30.0, 45.0, 60.0, 90.0, 150.0])
def test_adapter_turn_equals_the_mitre_of_rennels(degrees: float) -> None:
    """The same coefficient as by fluids 1.3.1 `bend_miter`, method Rennels."""
    loss = fitting.adapter(math.radians(degrees), 0.010, 0.010)

    MITRE.check(loss.inertial, bend_miter(degrees))


@pytest.mark.parametrize(
    ("degrees", "row"),
    [
        (30.0, Printed(MUNICH, "0.130", "1", 0.3 * 0.130, MEASURED)),
        (45.0, Printed(MUNICH, "0.236", "1", 0.3 * 0.236, MEASURED)),
        (60.0, Printed(MUNICH, "0.471", "1", 0.3 * 0.471, MEASURED)),
        (90.0, Printed(MUNICH, "1.129", "1", 0.3 * 1.129, MEASURED)),
        (150.0, Printed(DOCUMENTED, "2.7128147734758103", "1")),
    ],
)
def test_adapter_turn_is_the_printed_mitre(degrees: float, row: Printed) -> None:
    """A sharp turn loses what was measured in mitred pipe, within the spread stated."""
    row.check(float(fitting.adapter(math.radians(degrees), 0.010, 0.010).inertial))


@pytest.mark.parametrize("bore", [0.004, 0.006, 0.009, 0.012])
def test_adapter_steps_equal_contraction_and_expansion(bore: float) -> None:
    """A straight adapter is `contraction_sharp` and `diffuser_sharp` of fluids 1.3.1."""
    expected = contraction_sharp(Di1=0.0127, Di2=bore) + diffuser_sharp(Di1=bore, Di2=0.0127)

    STEPS.check(fitting.adapter(0.0, bore, 0.0127).inertial, expected)


def test_an_adapter_far_narrower_than_the_tube_is_a_hole_between_tanks() -> None:
    """At a vanishing bore ratio the steps become Rennels' entrance and a full exit."""
    expected = entrance_sharp(method="Rennels") + exit_normal()

    TANKS.check(fitting.adapter(0.0, 1e-4, 1.0).inertial, expected)


@pytest.mark.law("fitting.tee")
@pytest.mark.parametrize("reynolds", [300.0, 3000.0, 3e4])
@pytest.mark.parametrize(
    ("path", "name"),
    [
        ("run", "Tee, Run-through, threaded, (r/D = 1)"),
        ("branch", "Tee, Through-branch, (as elbow), threaded, (r/D = 1)"),
    ],
)
def test_tee_equals_darby(path: str, name: str, reynolds: float) -> None:
    """The same coefficient as by fluids 1.3.1 `Darby3K` with the bore as nominal size."""
    loss = fitting.tee("run" if path == "run" else "branch", 0.0127)

    expected = Darby3K(NPS=0.5, Re=reynolds, name=name)

    DARBY.check(coefficient(loss, reynolds, 0.0), expected)


@pytest.mark.law("fitting.tee", "fitting.entrance", "fitting.exit")
@pytest.mark.parametrize(
    ("law", "loss", "row"),
    [
        ("tee", fitting.tee("run", 0.0127), Printed(EPANET, "0.6", "1", 0.18, ONE_SIZE)),
        ("tee", fitting.tee("branch", 0.0127), Printed(EPANET, "1.8", "1", 0.54, ONE_SIZE)),
        ("entrance", fitting.entrance(), Printed(EPANET, "0.5", "1")),
        ("exit", fitting.exit(), Printed(EPANET, "1.0", "1")),
    ],
)
def test_handbook_values(law: str, loss: fitting.Loss, row: Printed) -> None:
    """Tee, entrance and exit have the coefficients a manual of water networks lists."""
    row.check(coefficient(loss, 1e5, 0.0), f"fitting.{law}")


def test_entrance_lies_between_the_handbooks() -> None:
    """Handbooks print 0.5 to 0.57 (fluids 1.3.1 `entrance_sharp`); ours is the lower end."""
    printed = [entrance_sharp(method=name) for name in ("Crane", "Idelchik", "Rennels")]

    inertial = fitting.entrance().inertial

    assert min(printed) <= inertial <= max(printed)
    assert np.isclose(inertial, min(printed))
