"""Machines drawn at random from stated uncertainties, each solved whole."""

from collections.abc import Iterator
from typing import NamedTuple

import msgspec
import numpy as np

from loopmargin_service.physics import batch, machine
from loopmargin_service.physics.machine import Equilibrium, Setting
from loopmargin_service.physics.network import Array
from loopmargin_service.physics.radiator import CoreSection
from loopmargin_service.questions import draws, loop_draws, machine_build, radiator_draws
from loopmargin_service.questions import uncertainty as doubts
from loopmargin_service.questions.affinity import fans_outside
from loopmargin_service.questions.conversion import L_PER_MIN
from loopmargin_service.questions.draws import Cause, Draws
from loopmargin_service.questions.loop_draws import DrawnLoop
from loopmargin_service.questions.machine_build import Built
from loopmargin_service.questions.machine_cases import (
    BlockFactors,
    Cases,
    describe_cases,
    surroundings,
)
from loopmargin_service.questions.operating_point import Point, case
from loopmargin_service.questions.spreads import Quantity
from loopmargin_service.questions.spreads import simulation as simulated
from loopmargin_wire.steady_state import SteadyStateQuestion
from loopmargin_wire.uncertainty import (
    NoiseUncertainty,
    Simulation,
    SupplyUncertainty,
    Uncertainties,
)

# Machines that stay in the processor's cache while they are solved together.
CHUNK = 4000


class Drawn(NamedTuple):
    """The machines drawn, what they settled at, and their loops."""

    draws: Draws
    cases: Cases
    loop: DrawnLoop

    def surplus(self, values: Array) -> Array:
        """Give a surplus that machines which did not settle do not have."""
        return self.loop.surplus(values)


class Departures(NamedTuple):
    """How machines that were drawn depart from one: settings and factors, each (…, draws)."""

    setting: Setting
    blocks: BlockFactors


class Doubts(NamedTuple):
    """The seed of a machine's draws, and what its part questions draw with it."""

    seed: str
    supply: SupplyUncertainty | None = None
    noise: NoiseUncertainty | None = None


class Best(NamedTuple):
    """A machine at the best estimate, that others are drawn about; its case stands first."""

    question: SteadyStateQuestion
    built: Built
    state: Equilibrium

    def point(self) -> Point:
        """Give the loop at the best estimate."""
        pumps = self.question.pumps
        ratios = np.array([[pump.speed_rpm / pump.curve_speed_rpm] for pump in pumps])
        flows = self.state.flows
        every = np.repeat(ratios, flows.flow.shape[1], axis=1)
        return case(flows.flow, flows.pressure, self.state.liquid, every)


def doubts_of(question: SteadyStateQuestion, seed: str | None = None) -> Doubts:
    """Give seed and part doubts of a machine; a *seed* makes the draws those of another."""
    asked = question.uncertainty
    if asked is None:
        return Doubts("")
    seed = seed or asked.seed or draws.seed_of(question)
    return Doubts(
        seed,
        SupplyUncertainty(draws=asked.draws, seed=seed),
        NoiseUncertainty(draws=asked.draws, seed=seed),
    )


def draw(best: Best, asked: Uncertainties, seed: str) -> Drawn:
    """Draw machines about one and solve them."""
    drawn = draws_about(best, msgspec.structs.replace(asked, seed=seed))
    parts = [
        _solve(best, drawn.some(slice(start, start + CHUNK)))
        for start in range(0, drawn.size, CHUNK)
    ]
    return Drawn(drawn, *batch.joined(parts))


def draws_about(best: Best, asked: Uncertainties) -> Draws:
    """Draw what is uncertain about a machine."""
    return draws.draw(best.question, asked, _causes(best, asked))


def block_names(built: Built) -> list[str]:
    """Give every block a name of its own."""
    return [f"{item.wire.name} ({row + 1})" for row, item in enumerate(built.blocks)]


def _causes(best: Best, asked: Uncertainties) -> Iterator[Cause]:
    """List what is uncertain about a machine."""
    question, built, _ = best
    yield from loop_draws.causes(asked, question.pumps)
    yield doubts.cause(asked, "air_flow", radiator_draws.AIR_FLOW)
    far = fans_outside(fans for fans in built.fans if fans is not None)
    yield doubts.affinity(doubts.FAN_AFFINITY, doubts.BEYOND_FAN_RANGE, outside=far)
    yield from _radiator_causes(best, asked)
    yield doubts.cause(asked, "rest", "power of the rest")
    for name in block_names(built):
        yield doubts.cause(asked, "heat", f"power of {name}")
        yield doubts.cause(asked, "block_law", f"resistance of {name}")
        yield doubts.cause(asked, "interface_resistance", f"interface of {name}")


def _radiator_causes(best: Best, asked: Uncertainties) -> Iterator[Cause]:
    """List the laws of the radiators, each as wide as the radiator furthest outside makes it."""
    _, built, state = best
    laws: dict[str, Cause] = {}
    for number, (item, section) in enumerate(
        zip(built.radiators, built.machine.sections, strict=True)
    ):
        flow = abs(float(state.air_flows.flow[number, 0]))
        velocity = flow / float(state.air_density[number, 0]) / section.face_area
        law = radiator_draws.law_cause(asked, item.wire.radiator, section, velocity)
        laws[law.name] = max(law, laws.get(law.name, law), key=lambda one: one.uncertainty)
    yield from laws.values()
    if radiator_draws.CORE_LAW in laws:
        yield doubts.cause(asked, "installation")


def _solve(best: Best, drawn: Draws) -> tuple[Cases, DrawnLoop]:
    """Set, solve and describe some of the machines drawn."""
    question, built, state = best
    loop, apart = built.machine.loop, departures(best, drawn)
    setting = apart.setting
    found = machine.solve(built.machine, setting)
    cases = describe_cases(built, setting, found, apart.blocks)
    every = Point(found.flows.flow, found.flows.pressure, found.liquid, setting.pump_ratio)
    density = float(best.point().liquid.pumps.density[0, 0])
    wanted = question.required_flow_l_per_min * L_PER_MIN * density
    rest = (surroundings(question, built, state), wanted, cases.settled)
    return cases, loop_draws.describe(loop, (drawn, setting.loop_factors), every, rest)


def departures(best: Best, drawn: Draws) -> Departures:
    """Set machines as they were drawn about one."""
    names = block_names(best.built)
    off = loop_draws.factors(best.built.machine.loop, drawn, best.point())
    return Departures(
        _setting(best, drawn)._replace(loop_factors=off),
        BlockFactors(
            drawn.factors([f"resistance of {name}" for name in names]),
            drawn.factors([f"interface of {name}" for name in names]),
        ),
    )


def _setting(best: Best, drawn: Draws) -> Setting:
    """Set machines as they were drawn."""
    question, built, _ = best
    every, names = np.ones(drawn.size), block_names(built)
    air = every * drawn.factor(radiator_draws.AIR_FLOW) * drawn.factor(doubts.FAN_AFFINITY)
    base = machine_build.setting(question, built, air, every * loop_draws.speed_factor(drawn))
    heat = drawn.factors([f"power of {name}" for name in names])
    missed = np.array(
        [item.wire.power_w * (1.0 - item.wire.captured_fraction) for item in built.blocks]
    )
    return base._replace(
        block_heat=base.block_heat * heat,
        case_heat=base.case_heat
        + question.rest_w * (drawn.factor("power of the rest") - 1.0)
        + (missed.reshape(-1, 1) * (heat - 1.0)).sum(axis=0),
        ua_factor=_ua_factors(built, drawn),
    )


def _ua_factors(built: Built, drawn: Draws) -> Array:
    """Give the factors on the conductance of every radiator, (radiators, draws). [-]"""
    core = (
        drawn.factor(radiator_draws.CORE_LAW) * drawn.factor("installation") * np.ones(drawn.size)
    )
    rated = drawn.factor(radiator_draws.RATED_LAW) * np.ones(drawn.size)
    return np.stack(
        [core if isinstance(section, CoreSection) else rated for section in built.machine.sections]
    )


def simulation(drawn: Drawn, question: SteadyStateQuestion, built: Built) -> Simulation:
    """Describe the machines drawn: one spread for each quantity of interest."""
    cases = drawn.cases
    named = zip(block_names(built), cases.component_c, strict=True)
    rows = [
        Quantity("hottest coolant", "degC", cases.coolant_hottest_c),
        Quantity("mean coolant", "degC", cases.coolant_mean_c),
        Quantity("coolant flow", "L/min", cases.flow_l_per_min),
        Quantity("air in the case", "degC", cases.case_air_c),
        *(Quantity(f"temperature of {name}", "degC", values) for name, values in named),
    ]
    return simulated(drawn.draws, rows, question.confidence, cases.settled)
