"""Heat transfer in flat tubes against printed developed values, a series and a library."""

import ht
import numpy as np
import pytest
from scipy.linalg import eigh_tridiagonal

from loopmargin_service.physics import flat_tube
from tests.published.printed import Independent, Printed

TABLE = "F. P. Incropera et al., Fundamentals of Heat and Mass Transfer, table 8.1, from memory"
ENERGY = Independent("the energy equation in finite differences, by scipy", rel=0.02)
GNIELINSKI = Independent("ht 1.2.0 `turbulent_Gnielinski`", rel=1e-6)
POLYNOMIAL = "the polynomial is up to 0.3 % off the table it stands for"


def mean_nusselt(reduced_length: float) -> float:
    """Mean Nusselt number between plates, from the energy equation in finite differences.

    16 T'' + 1.5 (1 - y^2) mu T = 0 on half the gap, symmetric at 0 and cold at 1, where the
    bulk temperature falls as a sum of exp(-mu x*).
    """
    count = 600
    y = (np.arange(count) + 0.5) / count
    velocity = 1.5 * (1.0 - y**2)
    diagonal = np.full(count, 32.0)
    diagonal[[0, -1]] = 16.0, 48.0
    root = np.sqrt(velocity)
    mu, modes = eigh_tridiagonal(
        diagonal * count**2 / velocity,
        -16.0 * count**2 / (root[1:] * root[:-1]),
        select="i",
        select_range=(0, 30),
    )
    weights = (modes.T @ root) ** 2 / count
    bulk = np.sum(weights * np.exp(-mu * reduced_length)) / np.sum(velocity / count)
    return float(-np.log(bulk) / (4.0 * reduced_length))


@pytest.mark.law("flat_tube.developed_nusselt")
@pytest.mark.parametrize(
    ("side_ratio", "row"),
    [
        (1.0, Printed(TABLE, "2.98", "1")),
        (1 / 1.43, Printed(TABLE, "3.08", "1", 0.003 * 3.08, POLYNOMIAL)),
        (1 / 2.0, Printed(TABLE, "3.39", "1")),
        (1 / 3.0, Printed(TABLE, "3.96", "1", 0.003 * 3.96, POLYNOMIAL)),
        (1 / 4.0, Printed(TABLE, "4.44", "1")),
        (1 / 8.0, Printed(TABLE, "5.60", "1")),
        (0.0, Printed(TABLE, "7.54", "1")),
    ],
)
def test_developed_values(side_ratio: float, row: Printed) -> None:
    """The developed Nusselt number of a rectangular duct is the printed one."""
    row.check(flat_tube.developed_nusselt(side_ratio))


@pytest.mark.law("flat_tube.laminar_nusselt")
@pytest.mark.parametrize("length", [0.002, 0.003, 0.005, 0.006, 0.008, 0.01, 0.02, 0.05, 0.2, 1.0])
def test_entrance_equal_to_the_energy_equation(length: float) -> None:
    """The joined entrance law stays within 2 % of a numerical solution."""
    ENERGY.check(flat_tube.laminar_nusselt(length, 0.0), mean_nusselt(length))


@pytest.mark.law("flat_tube.turbulent_nusselt")
@pytest.mark.parametrize(("reynolds", "prandtl"), [(4e3, 4.3), (1e4, 5.0), (5e4, 7.0)])
def test_turbulent_equal_to_ht(reynolds: float, prandtl: float) -> None:
    """Equal to Gnielinski's law in ht 1.2.0 with the same friction factor."""
    friction = (0.79 * np.log(reynolds) - 1.64) ** -2

    expected = ht.turbulent_Gnielinski(reynolds, prandtl, friction)

    GNIELINSKI.check(flat_tube.turbulent_nusselt(reynolds, prandtl), expected)
