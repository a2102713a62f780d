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

from loopmargin_service.physics.constants import STANDARD_GRAVITY
from loopmargin_service.physics.coolant import Properties
from loopmargin_service.physics.curve import Curve, value_and_slope
from loopmargin_service.physics.drop import Drop, at_state
from loopmargin_service.physics.network import Array, Law, Topology
from loopmargin_service.physics.passage import (
    Index,
    Passages,
    friction_drop,
    passage_terms,
)

# Below this a slope is zero for every purpose, but not to a division. [Pa s/kg]
SMALLEST_SLOPE = 1.0
# Slope of a pump that is made to give a wanted flow. [Pa s/kg]
STIFFNESS = 1e14


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
            check_valves=len(self.pump_tail),
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
    measured = Drop(components.linear[:, None], components.quadratic[:, None])
    here = at_state(
        measured,
        liquid.viscosity / components.viscosity[:, None],
        liquid.density / components.density[:, None],
    )
    return here.linear / liquid.density, here.quadratic / liquid.density**2


class LoopTerms(NamedTuple):
    """What of a loop does not change while its flows are sought; made by `loop_terms`.

    `linear` [Pa s/kg] and `quadratic` [Pa s2/kg2] are sums over each branch; the others
    belong to the passages whose drop depends on the friction factor.
    """

    linear: Array
    quadratic: Array
    weight: Array
    reynolds_per_flow: Array
    relative_roughness: Array
    branch: Index
    adder: Array


class LoopFactors(NamedTuple):
    """How a loop departs from its measures and laws: factors, each (batch,) or for every case.

    `bore` is on every inside diameter, `friction` on the friction factor, which may be
    (rubbing passages, batch), `fittings` on what a fitting loses beside friction, and `parts`
    on the drop of blocks, radiators and couplings.
    """

    bore: Array | float = 1.0
    friction: Array | float = 1.0
    fittings: Array | float = 1.0
    parts: Array | float = 1.0


AS_DESCRIBED = LoopFactors()


def loop_terms(loop: Loop, liquid: Liquid, factors: LoopFactors = AS_DESCRIBED) -> LoopTerms:
    """
    Gather the terms of all branches at the state of the coolant.

    Parameters
    ----------
    loop : Loop
        Branches and what is in them. [SI]
    liquid : Liquid
        Coolant properties by place; one row may stand for all places. [SI]
    factors : LoopFactors
        How the loop departs from what is described. [-]

    Returns
    -------
    LoopTerms
        Terms in mass flow. [SI]

    Notes
    -----
    Everything that is linear or quadratic in the flow is added up once. At a given mass flow
    a wider bore loses friction with its fifth power, other losses with the fourth, their
    laminar part with the third, and Reynolds number in proportion; lengths stay, and the small
    change of the relative roughness is left out.
    """
    linear, quadratic = component_terms(loop.components, liquid.components)
    passages = passage_terms(loop.passages, liquid.passages)
    rubbing = loop.passages.rubbing
    viscous = factors.fittings / factors.bore**3
    inertial = factors.fittings / factors.bore**4
    return LoopTerms(
        loop.component_sum @ linear * factors.parts + loop.passage_sum @ passages.linear * viscous,
        loop.component_sum @ quadratic * factors.parts
        + loop.passage_sum @ passages.quadratic * inertial,
        passages.weight[rubbing] * (factors.friction / factors.bore**5),
        passages.reynolds_per_flow[rubbing] / factors.bore,
        loop.passages.relative_roughness[rubbing, None],
        loop.passages.branch[rubbing],
        loop.passage_sum[:, rubbing],
    )


def loop_law(terms: LoopTerms, pumps: Law) -> Law:
    """
    Build the law of all links, to be solved by `network.solve`.

    Parameters
    ----------
    terms : LoopTerms
        Branches at the state of the coolant. [SI]
    pumps : callable
        Flows of the pumps [kg/s] to their gains [Pa] and slopes [Pa s/kg], (pumps, batch):
        `running_pumps` or `imposed_flow`.

    Returns
    -------
    callable
        Flows [kg/s] to pressure drops [Pa] and slopes [Pa s/kg], (links, batch).

    Notes
    -----
    Branches come before pumps; a pump's drop is its gain, negative.
    """
    branches = terms.adder.shape[0]

    def law(flow: Array) -> tuple[Array, Array]:
        drop, slope = np.empty_like(flow), np.empty_like(flow)
        through = flow[:branches]
        per_unit = terms.quadratic * np.abs(through)
        drop[:branches] = through * (terms.linear + per_unit)
        slope[:branches] = terms.linear + 2.0 * per_unit
        if terms.branch.size:
            rubbed = friction_drop(
                terms.weight,
                terms.reynolds_per_flow,
                terms.relative_roughness,
                through[terms.branch],
            )
            drop[:branches] += terms.adder @ rubbed[0]
            slope[:branches] += terms.adder @ rubbed[1]
        gain, gain_slope = pumps(flow[branches:])
        np.negative(gain, out=drop[branches:])
        np.negative(gain_slope, out=slope[branches:])
        return drop, np.maximum(slope, SMALLEST_SLOPE)

    return law


def running_pumps(loop: Loop, liquid: Liquid, speed_ratio: Array) -> Law:
    """
    Build the law of pumps that run at given speeds.

    Parameters
    ----------
    loop : Loop
        Gives the curves of the pumps. [m and m3/s]
    liquid : Liquid
        Gives the coolant at the pumps. [SI]
    speed_ratio : ndarray
        Speed of each pump over the speed of its curve, (pumps, batch). [-]

    Returns
    -------
    callable
        Flows [kg/s] to gains [Pa] and slopes [Pa s/kg], (pumps, batch).

    Notes
    -----
    See `pump_gain`.
    """

    def law(flow: Array) -> tuple[Array, Array]:
        return pump_gain(loop.curves, liquid.pumps, flow, speed_ratio)

    return law


def imposed_flow(wanted: Array) -> Law:
    """
    Build the law of pumps that give whatever pressure a wanted flow takes.

    Parameters
    ----------
    wanted : ndarray
        Flow of each pump, (pumps, batch). [kg/s]

    Returns
    -------
    callable
        Flows [kg/s] to gains [Pa] and slopes [Pa s/kg], (pumps, batch).

    Notes
    -----
    A line so steep that the flow is met to 1e-8 of itself at the pressures of such loops;
    for a single pump the loop's own resistance is then the pressure between its nodes.
    """

    def law(flow: Array) -> tuple[Array, Array]:
        return STIFFNESS * (wanted - flow), np.full_like(flow, -STIFFNESS)

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
    head, slope = np.empty_like(flow), np.empty_like(flow)
    volume = flow / liquid.density
    for row, curve in enumerate(curves):
        head[row], slope[row] = value_and_slope(
            curve, volume[row], speed_ratio[row], check_valve=True
        )
    return liquid.density * STANDARD_GRAVITY * head, STANDARD_GRAVITY * slope
