"""The liquid loop as links of a network: branches of elements in series, and pumps.

Every tube and fitting is a passage with three numbers on the velocity in its own bore:
a length in diameters that multiplies the friction factor, a laminar coefficient that is
divided by the Reynolds number, and a constant. Blocks and radiators are components with
a linear and a quadratic term measured with a known liquid. Left out: buoyancy, which is
below 0.1 kPa here, and the interaction of fittings that stand close together.

Arrays are (passages, batch), (components, batch), (branches, batch) or (pumps, batch);
the links of the network are the branches followed by the pumps.
"""

from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from loopmargin_service.physics.coolant import Properties
from loopmargin_service.physics.curve import Curve, value_and_slope
from loopmargin_service.physics.network import Array, Law, Topology
from loopmargin_service.physics.pipe import friction_factor_and_slope

Index = NDArray[np.intp]

GRAVITY = 9.80665
# Below these a flow and a slope are zero for every purpose, but not to a division.
SMALLEST_FLOW = 1e-9
SMALLEST_SLOPE = 1.0


@dataclass(frozen=True)
class Passages:
    """Tubes and fittings; one entry of each array for each passage."""

    branch: Index
    bore: Array
    relative_roughness: Array
    friction_length: Array
    viscous: Array
    inertial: Array


@dataclass(frozen=True)
class Components:
    """Blocks, radiators and couplings, as measured with a liquid of known properties."""

    branch: Index
    linear: Array
    quadratic: Array
    viscosity: Array
    density: Array


@dataclass(frozen=True)
class Loop:
    """A whole loop: which nodes branches and pumps join, and what is in the branches."""

    node_count: int
    branch_tail: tuple[int, ...]
    branch_head: tuple[int, ...]
    pump_tail: tuple[int, ...]
    pump_head: tuple[int, ...]
    reference: int
    passages: Passages
    components: Components
    curves: tuple[Curve, ...]

    @cached_property
    def topology(self) -> Topology:
        """Give the network of branches followed by pumps."""
        return Topology(
            self.node_count,
            self.branch_tail + self.pump_tail,
            self.branch_head + self.pump_head,
            self.reference,
        )

    @cached_property
    def passage_sum(self) -> Array:
        """Give the matrix that adds up passages into branches."""
        return _membership(self.passages.branch, len(self.branch_tail))

    @cached_property
    def component_sum(self) -> Array:
        """Give the matrix that adds up components into branches."""
        return _membership(self.components.branch, len(self.branch_tail))


class Liquid(NamedTuple):
    """Coolant where it matters: in each passage, in each component and at the pumps."""

    passages: Properties
    components: Properties
    pumps: Properties


def _membership(branch: Index, count: int) -> Array:
    return np.asarray(np.arange(count)[:, None] == branch[None, :], dtype=np.float64)


def passage_drop(passages: Passages, liquid: Properties, flow: Array) -> tuple[Array, Array]:
    """
    Pressure drop of each passage and its slope.

    Parameters
    ----------
    passages : Passages
        Geometry, one entry for each passage. [m and -]
    liquid : Properties
        Coolant in each passage, (passages, batch). [SI]
    flow : ndarray
        Mass flow through each passage, (passages, batch), of either sign. [kg/s]

    Returns
    -------
    tuple of ndarray
        Pressure drop with the sign of the flow [Pa] and its slope [Pa s/kg].

    Notes
    -----
    ``dp = (f(Re) L + K1/Re + K) rho v**2 / 2`` (Weisbach, with Churchill's f), written
    in mass flow so that the laminar term stays finite at rest.
    """
    bore = passages.bore[:, None]
    area = 0.25 * np.pi * bore * bore
    size = np.maximum(np.abs(flow), SMALLEST_FLOW)
    reynolds_per_flow = bore / (area * liquid.viscosity)
    friction, friction_slope = friction_factor_and_slope(
        size * reynolds_per_flow, passages.relative_roughness[:, None]
    )
    length = passages.friction_length[:, None]
    dynamic = 0.5 / (liquid.density * area * area)
    laminar = dynamic * passages.viscous[:, None] / reynolds_per_flow
    share = dynamic * (friction * length + passages.inertial[:, None])
    drop = flow * (size * share + laminar)
    slope = (
        2.0 * size * share
        + laminar
        + dynamic * size * size * length * friction_slope * reynolds_per_flow
    )
    return drop, slope


def component_terms(components: Components, liquid: Properties) -> tuple[Array, Array]:
    """
    Linear and quadratic term of each component in mass flow, at the liquid's state.

    Parameters
    ----------
    components : Components
        Terms as measured, with the state they were measured at. [SI]
    liquid : Properties
        Coolant in each component, (components, batch). [SI]

    Returns
    -------
    tuple of ndarray
        Linear [Pa s/kg] and quadratic [Pa s2/kg2] term, (components, batch).

    Notes
    -----
    The linear term follows viscosity and the quadratic one density, which is exact for
    laminar and for inertial losses and within a few per cent between them.
    """
    linear = components.linear[:, None] * liquid.viscosity / components.viscosity[:, None]
    quadratic = components.quadratic[:, None] * liquid.density / components.density[:, None]
    return linear / liquid.density, quadratic / (liquid.density * liquid.density)


def loop_law(loop: Loop, liquid: Liquid, speed_ratio: Array) -> Law:
    """
    Build the law of all links, to be solved by `network.solve`.

    Parameters
    ----------
    loop : Loop
        Branches, pumps and what is in them. [SI]
    liquid : Liquid
        Coolant properties by place. [SI]
    speed_ratio : ndarray
        Speed of each pump over the speed of its curve, (pumps, batch). [-]

    Returns
    -------
    callable
        Flows [kg/s] to pressure drops [Pa] and slopes [Pa s/kg], (links, batch).
    """
    branches = len(loop.branch_tail)
    linear, quadratic = component_terms(loop.components, liquid.components)
    linear = loop.component_sum @ linear
    quadratic = loop.component_sum @ quadratic
    adder = loop.passage_sum

    def law(flow: Array) -> tuple[Array, Array]:
        through = flow[:branches]
        drop = through * (linear + quadratic * np.abs(through))
        slope = linear + 2.0 * quadratic * np.abs(through)
        if loop.passages.branch.size:
            inside = passage_drop(loop.passages, liquid.passages, through[loop.passages.branch])
            drop = drop + adder @ inside[0]
            slope = slope + adder @ inside[1]
        gain, gain_slope = pump_gain(loop.curves, liquid.pumps, flow[branches:], speed_ratio)
        return (
            np.concatenate([drop, -gain]),
            np.maximum(np.concatenate([slope, -gain_slope]), SMALLEST_SLOPE),
        )

    return law


def pump_gain(
    curves: tuple[Curve, ...], liquid: Properties, flow: Array, speed_ratio: Array
) -> tuple[Array, Array]:
    """
    Pressure gain of each pump and its slope.

    Parameters
    ----------
    curves : tuple of Curve
        Head [m] against volume flow [m3/s] of each pump at its curve's speed.
    liquid : Properties
        Coolant at the pumps, broadcast with *flow*. [SI]
    flow : ndarray
        Mass flow of each pump, (pumps, batch). [kg/s]
    speed_ratio : ndarray
        Speed over the speed of the curve, (pumps, batch). [-]

    Returns
    -------
    tuple of ndarray
        Gain [Pa] and slope [Pa s/kg], (pumps, batch).

    Notes
    -----
    Head against volume flow is taken as independent of the liquid, which holds below
    some 10 mm2/s. Below zero flow a pump is a closed check valve.
    """
    density = np.broadcast_to(liquid.density, flow.shape)
    rows = [
        value_and_slope(curve, row / rho, ratio, check_valve=True)
        for curve, row, rho, ratio in zip(curves, flow, density, speed_ratio, strict=True)
    ]
    head = np.stack([row[0] for row in rows])
    slope = np.stack([row[1] for row in rows])
    return density * GRAVITY * head, GRAVITY * slope
