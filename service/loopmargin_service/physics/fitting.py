"""Pressure loss of bends, adapters, tees, entrances and exits.

Each fitting is reduced to three numbers on the velocity in its own bore, so that its loss
coefficient at any flow is viscous / Re + inertial + friction_length * f.
"""

from typing import Final, Literal, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

_INCH = 0.0254

# Laminar and turbulent constant and size factor of tees with threaded ports, [1] of `tee`.
_TEE: Final = {"run": (200.0, 0.091, 4.0), "branch": (500.0, 0.274, 4.0)}


class Loss(NamedTuple):
    """Loss coefficient of a fitting, on half rho v squared of its own bore.

    Attributes
    ----------
    viscous : ndarray
        Multiplies 1 / Re. [-]
    inertial : ndarray
        Stands alone. [-]
    friction_length : ndarray
        Multiplies the Darcy friction factor: an equivalent length over bore. [-]
    """

    viscous: NDArray[np.float64]
    inertial: NDArray[np.float64]
    friction_length: NDArray[np.float64]


def bend(angle: ArrayLike, radius_over_bore: ArrayLike) -> Loss:
    """Loss of a smoothly swept bend, its own length of pipe included.

    Parameters
    ----------
    angle : array_like
        Angle the flow is turned by, 0 to pi. [rad]
    radius_over_bore : array_like
        Radius of the centre line over the bore, above 0.5; broadcast with *angle*. [-]

    Returns
    -------
    Loss
        On the velocity in the bend; no viscous part, because in laminar flow f carries it. [-]

    Notes
    -----
    Equation for bends of [1]_: K = f a r/d + (0.10 + 2.4 f) s + 6.6 f (sqrt(s) + s) /
    (r/d)^(4a/pi), with s = sin(a/2); from turbulent tests in smooth pipe. The angle and the
    radius are not checked here. Good to about 30 % at bores near 10 mm.

    Validity
    --------
    Angles up to 180 degrees, radii of 0.5 bores and more, turbulent flow. Outside nothing is
    checked.

    References
    ----------
    .. [1] D. C. Rennels and H. M. Hudson, Pipe Flow: A Practical and Comprehensive Guide,
           1st ed., Hoboken, NJ: Wiley, 2012, chapter 15.
    """
    turn = np.asarray(angle, dtype=np.float64)
    radius = np.asarray(radius_over_bore, dtype=np.float64)
    sine = np.sin(0.5 * turn)
    separation = 6.6 * (np.sqrt(sine) + sine) * radius ** (-4.0 * turn / np.pi)
    friction_length = turn * radius + 2.4 * sine + separation
    return Loss(np.zeros_like(friction_length), 0.10 * sine, friction_length)


def adapter(angle: ArrayLike, bore: ArrayLike, tube_bore: ArrayLike) -> Loss:
    """Loss of a drilled adapter between two tubes: sharp turn, entrance step and exit step.

    Parameters
    ----------
    angle : array_like
        Angle the flow is turned by, 0 (straight connector) to 150 degrees. [rad]
    bore : array_like
        Bore of the adapter. [m]
    tube_bore : array_like
        Bore of the tube on both sides; all three broadcast together. [m]

    Returns
    -------
    Loss
        On the velocity in the bore of the adapter. [-]

    Notes
    -----
    The turn is the single mitre of [1]_, K = 0.42 s + 2.56 s^3 with s = sin(angle/2). Its
    laminar part is 1000/Re at 90 degrees and 500/Re at 45 degrees in [2]_ and [3]_ alike,
    and so is taken in proportion to the angle. The step into the narrower bore is the
    sudden contraction of [1]_ and the step out of it the Borda-Carnot expansion, both
    turbulent values: in laminar flow the contraction alone loses about three times as much.
    If the tube is the narrower one its steps come in the other order and are turned to the
    velocity in the adapter. Good to about 40 %: the edges of a drilled corner vary.

    Validity
    --------
    Angles of 0 to 90 degrees, turbulent flow for the steps. Outside nothing is checked.

    References
    ----------
    .. [1] D. C. Rennels and H. M. Hudson, Pipe Flow: A Practical and Comprehensive Guide,
           1st ed., Hoboken, NJ: Wiley, 2012, chapters 10, 11 and 15.
    .. [2] W. B. Hooper, "The two-K method predicts head losses in pipe fittings," Chemical
           Engineering, vol. 88, p. 97, Aug. 24, 1981.
    .. [3] P. Silverberg and R. Darby, "Correlate pressure drops through fittings," Chemical
           Engineering, vol. 106, no. 7, p. 101, 1999.
    """
    turn = np.asarray(angle, dtype=np.float64)
    own = np.asarray(bore, dtype=np.float64)
    tube = np.asarray(tube_bore, dtype=np.float64)
    sine = np.sin(0.5 * turn)
    mitre = 0.42 * sine + 2.56 * sine**3
    narrow = np.minimum(own, tube)
    beta = narrow / np.maximum(own, tube)
    steps = (_contraction(beta) + (1.0 - beta**2) ** 2) * (own / narrow) ** 4
    inertial = mitre + steps
    viscous = 1000.0 * turn / (0.5 * np.pi)
    return Loss(viscous, inertial, np.zeros_like(inertial))


def tee(path: Literal["run", "branch"], bore: ArrayLike) -> Loss:
    """Loss of a tee with threaded ports, straight through or round the corner.

    Parameters
    ----------
    path : {"run", "branch"}
        Straight through, or through the branch as through an elbow. [-]
    bore : array_like
        Bore of the tee. [m]

    Returns
    -------
    Loss
        On the velocity in the leg that carries this flow. [-]

    Notes
    -----
    The three constants of [1]_, K = K1/Re + Ki (1 + Kd / NPS^0.3), with the bore in inches
    in place of the nominal size; fitted to pipes of half an inch and more, extrapolated
    below. One value per leg: how the flow divides is not considered, because the momentum
    that a leg gains from the other would make its loss negative.

    Validity
    --------
    Pipes of half an inch and more. Outside, in narrower ones, it is an extrapolation.

    References
    ----------
    .. [1] P. Silverberg and R. Darby, "Correlate pressure drops through fittings," Chemical
           Engineering, vol. 106, no. 7, p. 101, 1999; values for threaded tees of r/D = 1.
    """
    viscous, inertial, size = _TEE[path]
    inches = np.asarray(bore, dtype=np.float64) / _INCH
    turbulent = inertial * (1.0 + size * inches**-0.3)
    return Loss(np.full_like(turbulent, viscous), turbulent, np.zeros_like(turbulent))


def entrance() -> Loss:
    """Loss of a sharp-edged entrance from a tank into a tube.

    Returns
    -------
    Loss
        On the velocity in the tube. [-]

    Notes
    -----
    0.5 as in [1]_; other handbooks print up to 0.57. Turbulent flow.

    Validity
    --------
    Turbulent flow. Outside, in laminar flow, the loss is larger by up to 1.5 velocity heads.

    References
    ----------
    .. [1] Crane Co., Flow of Fluids Through Valves, Fittings, and Pipe, Technical Paper 410,
           2009.
    """
    return Loss(np.zeros(()), np.array(0.5), np.zeros(()))


def exit() -> Loss:  # noqa: A001 - the trade word, used as fitting.exit
    """Loss of the flow from a tube into a tank.

    Returns
    -------
    Loss
        On the velocity in the tube. [-]

    Notes
    -----
    The whole velocity head is lost, 1.0 as in [1]_. Turbulent flow; 2.0 in laminar flow,
    where the velocity head is small.

    Validity
    --------
    Turbulent flow. Outside, in laminar flow, the loss is 2.0.

    References
    ----------
    .. [1] Crane Co., Flow of Fluids Through Valves, Fittings, and Pipe, Technical Paper 410,
           2009.
    """
    return Loss(np.zeros(()), np.ones(()), np.zeros(()))


def _contraction(beta: NDArray[np.float64]) -> NDArray[np.float64]:
    """Sudden contraction on the velocity in the narrow bore, narrow over wide bore *beta*."""
    jet = 1.0 + 0.622 * (1.0 - 0.215 * beta**2 - 0.785 * beta**5)
    return 0.0696 * (1.0 - beta**5) * jet**2 + (jet - 1.0) ** 2
