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

from loopmargin_service.physics.batch import some_cases, tiles
from loopmargin_service.physics.constants import STANDARD_GRAVITY
from loopmargin_service.physics.coolant import Properties
from loopmargin_service.physics.curve import Curve, value_and_slope
from loopmargin_service.physics.drop import Drop, at_state
from loopmargin_service.physics.network import Array, Law, Topology
from loopmargin_service.physics.passage import (
    Folded,
    Passages,
    folded,
    friction_drop,
    passage_terms,
)
from loopmargin_service.physics.rows import Grouping, Index

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
    """A whole loop: which nodes branches and pumps join, and what is in the branches.

    Passages of one `stretch` have the same coolant in them; each has its own if it is not given.
    """

    node_count: int
    branch_tail: tuple[int, ...]
    branch_head: tuple[int, ...]
    pump_tail: tuple[int, ...]
    pump_head: tuple[int, ...]
    reference: int
    passages: Passages
    components: Components
    curves: tuple[Curve, ...]
    stretch: Index | None = None

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
    def component_groups(self) -> Grouping:
        """Give the branch of each component."""
        return Grouping(self.components.branch, len(self.branch_tail))

    @cached_property
    def folded(self) -> Folded:
        """Give the passages with those alike folded that have the same coolant in them."""
        own = np.arange(self.passages.bore.size)
        return folded(self.passages, own if self.stretch is None else self.stretch)

    @cached_property
    def folded_uniform(self) -> Folded:
        """Give the passages folded as if all coolant had one state."""
        return folded(self.passages, np.zeros_like(self.passages.branch))


class Liquid(NamedTuple):
    """Coolant where it matters: in each passage, in each component and at the pumps."""

    passages: Properties
    components: Properties
    pumps: Properties


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
    belong to the passages whose drop depends on the friction factor. Each is (…, batch), or
    (…, 1) where it is the same for all cases.
    """

    linear: Array
    quadratic: Array
    weight: Array
    reynolds_per_flow: Array
    relative_roughness: Array
    groups: Grouping

    def cases(self, chosen: Index) -> "LoopTerms":
        """Give the terms of some cases."""
        return self._replace(
            linear=some_cases(self.linear, chosen),
            quadratic=some_cases(self.quadratic, chosen),
            weight=some_cases(self.weight, chosen),
            reynolds_per_flow=some_cases(self.reynolds_per_flow, chosen),
        )

    def friction(self, through: Array, here: slice) -> tuple[Array, Array]:
        """Give what the rubbing passages lose in some cases [Pa], and its slope [Pa s/kg]."""
        return friction_drop(
            _columns(self.weight, here),
            _columns(self.reynolds_per_flow, here),
            self.relative_roughness,
            self.groups.spread(through[:, here]),
        )


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


def _columns(rows: Array, here: slice) -> Array:
    """Give some cases of rows that may stand for every case."""
    return rows if rows.shape[1] == 1 else rows[:, here]


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
    fold, inside = loop.folded_uniform, liquid.passages
    if inside.density.shape[0] != 1:
        fold = loop.folded
        inside = Properties(*(rows[fold.first] for rows in inside))
    passages, rubbing = passage_terms(fold.passages, inside), fold.passages.rubbing
    branches, rubbing_branches = (Grouping(one, len(loop.branch_tail)) for one in fold.branches)
    viscous = factors.fittings / factors.bore**3
    inertial = factors.fittings / factors.bore**4
    friction = fold.friction(factors.friction)
    return LoopTerms(
        loop.component_groups.total(linear) * factors.parts
        + branches.total(passages.linear) * viscous,
        loop.component_groups.total(quadratic) * factors.parts
        + branches.total(passages.quadratic) * inertial,
        passages.weight[rubbing] * (friction / factors.bore**5),
        passages.reynolds_per_flow[rubbing] / factors.bore,
        fold.passages.relative_roughness[rubbing, None],
        rubbing_branches,
    )


@dataclass(frozen=True)
class LoopLaw:
    """The law of all links of a loop, branches before pumps, for `network.solve`.

    A pump's drop is its gain, negative. `pumps` takes the flows of the pumps [kg/s] and gives
    their gains [Pa] and slopes [Pa s/kg]: `RunningPumps` or `ImposedFlow`.
    """

    terms: LoopTerms
    pumps: Law

    def __call__(self, flow: Array) -> tuple[Array, Array]:
        """Give pressure drops [Pa] and slopes [Pa s/kg] at flows [kg/s], (links, batch)."""
        terms, branches = self.terms, self.terms.groups.count
        drop, slope = np.empty_like(flow), np.empty_like(flow)
        through = flow[:branches]
        per_unit = terms.quadratic * np.abs(through)
        drop[:branches] = through * (terms.linear + per_unit)
        slope[:branches] = terms.linear + 2.0 * per_unit
        for here in tiles(terms.groups.group.size, flow.shape[1]):
            lost, rising = terms.friction(through, here)
            terms.groups.add(lost, drop[:, here])
            terms.groups.add(rising, slope[:, here])
        gain, gain_slope = self.pumps(flow[branches:])
        np.negative(gain, out=drop[branches:])
        np.negative(gain_slope, out=slope[branches:])
        return drop, np.maximum(slope, SMALLEST_SLOPE)

    def cases(self, chosen: Index) -> "LoopLaw":
        """Give the law of some cases alone."""
        return LoopLaw(self.terms.cases(chosen), self.pumps.cases(chosen))


@dataclass(frozen=True)
class RunningPumps:
    """The law of pumps that run at given speeds, over those of their curves; see `pump_gain`.

    `liquid` is the coolant at the pumps [SI] and `speed_ratio` [-] theirs, each (pumps, batch),
    or (pumps, 1) for all cases.
    """

    curves: tuple[Curve, ...]
    liquid: Properties
    speed_ratio: Array

    def __call__(self, flow: Array) -> tuple[Array, Array]:
        """Give gains [Pa] and slopes [Pa s/kg] at flows [kg/s], (pumps, batch)."""
        return pump_gain(self.curves, self.liquid, flow, self.speed_ratio)

    def cases(self, chosen: Index) -> "RunningPumps":
        """Give the law of some cases alone."""
        liquid = Properties(*(some_cases(rows, chosen) for rows in self.liquid))
        return RunningPumps(self.curves, liquid, some_cases(self.speed_ratio, chosen))


@dataclass(frozen=True)
class ImposedFlow:
    """The law of pumps that give whatever pressure a wanted flow [kg/s] takes, (pumps, batch).

    A line so steep that the flow is met to 1e-8 of itself at the pressures of such loops; for a
    single pump the loop's own resistance is then the pressure between its nodes.
    """

    wanted: Array

    def __call__(self, flow: Array) -> tuple[Array, Array]:
        """Give gains [Pa] and slopes [Pa s/kg] at flows [kg/s], (pumps, batch)."""
        return STIFFNESS * (self.wanted - flow), np.full_like(flow, -STIFFNESS)

    def cases(self, chosen: Index) -> "ImposedFlow":
        """Give the law of some cases alone."""
        return ImposedFlow(self.wanted.take(chosen, axis=-1))


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
