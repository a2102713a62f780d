"""Machines drawn at random from stated uncertainties, all solved together.

Every uncertain thing is a factor about one, lognormal, so that it stays positive; the
standard normal numbers behind the factors also carry the linear method and the budget, by
least squares of each quantity on them (JCGM 101:2008 for the draws, JCGM 100:2008, 5.1 for
the linear sum).
"""

import math
from hashlib import blake2b
from statistics import NormalDist
from typing import NamedTuple

import msgspec
import numpy as np

from loopmargin_service.physics import batch, machine
from loopmargin_service.physics.loop import LoopFactors
from loopmargin_service.physics.machine import Setting
from loopmargin_service.physics.network import Array
from loopmargin_service.questions import machine_build
from loopmargin_service.questions.edition import EDITION
from loopmargin_service.questions.machine_build import Built
from loopmargin_service.questions.machine_cases import BlockFactors, Cases, describe_cases
from loopmargin_wire.steady_state import SteadyStateQuestion
from loopmargin_wire.uncertainty import Contribution, Simulation, Spread, Uncertainties

# Cases that stay in the processor's cache while they are solved together.
CHUNK = 2000
SEED_BYTES = 16
# Both ends of the linear interval must lie within this share of the interval's width.
AGREEMENT = 0.05
LEAST_SETTLED = 20


class Factors(NamedTuple):
    """Factors of every draw, with the normal numbers and causes behind them, row by row."""

    causes: tuple[str, ...]
    normal: Array
    factor: Array

    def row(self, cause: str) -> Array:
        """Give the factors of one cause. [-]"""
        return np.asarray(self.factor[self.causes.index(cause)])

    def rows(self, cause: str, names: list[str]) -> Array:
        """Give the factors of one cause for every block. [-]"""
        found = [self.row(f"{cause} of {name}") for name in names]
        return np.asarray(found, dtype=np.float64).reshape(len(names), self.factor.shape[1])


class Drawn(NamedTuple):
    """The machines drawn and what they settled at."""

    factors: Factors
    cases: Cases
    seed: str


def draw(
    question: SteadyStateQuestion, asked: Uncertainties, built: Built, seed: str | None = None
) -> Drawn:
    """Draw machines and solve them; the same question draws the same on every replica.

    A *seed* of another question makes the draws of both the same, so that they compare.
    """
    seed = seed or seed_of(question)
    names = block_names(built)
    factors = _factors(asked, names, seed)
    setting = _settings(question, built, factors, names)
    blocks = BlockFactors(factors.rows("resistance", names), factors.rows("interface", names))
    parts = [
        _solve(built, setting, blocks, slice(start, start + CHUNK))
        for start in range(0, asked.draws, CHUNK)
    ]
    cases = Cases(*(np.concatenate(part, axis=-1) for part in zip(*parts, strict=True)))
    return Drawn(factors, cases, seed)


def seed_of(question: SteadyStateQuestion) -> str:
    """Give a seed that follows from the question and the edition alone."""
    spelled = msgspec.json.encode(question, order="deterministic")
    return blake2b(spelled, digest_size=SEED_BYTES, key=EDITION.encode()).hexdigest()


def block_names(built: Built) -> list[str]:
    """Give every block a name of its own."""
    return [f"{item.wire.name} ({row + 1})" for row, item in enumerate(built.blocks)]


def _factors(asked: Uncertainties, names: list[str], seed: str) -> Factors:
    """Draw one lognormal factor of each cause for each machine."""
    common = ("air_flow", "conductance", "loop_resistance", "pump_speed", "rest")
    spreads = {cause.replace("_", " "): getattr(asked, cause) for cause in common}
    for name in names:
        spreads[f"heat of {name}"] = asked.heat
        spreads[f"resistance of {name}"] = asked.block_resistance
        spreads[f"interface of {name}"] = asked.interface_resistance
    random = np.random.Generator(np.random.Philox(int(seed, 16)))
    normal = random.standard_normal((len(spreads), asked.draws))
    scale = np.sqrt(np.log1p(np.square(list(spreads.values()))))[:, None]
    return Factors(tuple(spreads), normal, np.exp(scale * normal))


def _settings(
    question: SteadyStateQuestion, built: Built, factors: Factors, names: list[str]
) -> Setting:
    """Set every machine drawn."""
    lost = factors.row("loop resistance")
    base = machine_build.setting(
        question, built, factors.row("air flow"), factors.row("pump speed")
    )
    return base._replace(
        block_heat=base.block_heat * factors.rows("heat", names),
        case_heat=base.case_heat * factors.row("rest"),
        ua_factor=np.tile(factors.row("conductance"), (len(built.radiators), 1)),
        loop_factors=LoopFactors(friction=lost, fittings=lost, parts=lost),
    )


def _solve(built: Built, setting: Setting, blocks: BlockFactors, part: slice) -> Cases:
    """Solve and describe one chunk."""
    cases = np.arange(setting.room_temperature.size)[part]
    here, factors = batch.cases_of(setting, cases), batch.cases_of(blocks, cases)
    return describe_cases(built, here, machine.solve(built.machine, here), factors)


def simulation(drawn: Drawn, question: SteadyStateQuestion, built: Built) -> Simulation:
    """Describe the machines drawn: one spread for each quantity of interest."""
    cases = drawn.cases
    rows: list[tuple[str, str, Array]] = [
        ("hottest coolant", "degC", cases.coolant_hottest_c),
        ("mean coolant", "degC", cases.coolant_mean_c),
        ("coolant flow", "L/min", cases.flow_l_per_min),
        ("air in the case", "degC", cases.case_air_c),
    ]
    rows += [
        (f"temperature of {name}", "degC", values)
        for name, values in zip(block_names(built), cases.component_c, strict=True)
    ]
    return Simulation(
        draws=int(cases.settled.size),
        seed=drawn.seed,
        confidence=question.confidence,
        settled_share=float(cases.settled.mean()),
        spreads=_spreads(rows, drawn, question.confidence),
    )


def _spreads(
    rows: list[tuple[str, str, Array]], drawn: Drawn, confidence: float
) -> tuple[Spread, ...]:
    """Describe each quantity over the settled draws, if there are enough of them."""
    settled = drawn.cases.settled
    if int(settled.sum()) < LEAST_SETTLED:
        return ()
    values = np.stack([row[2][settled] for row in rows])
    normal = drawn.factors.normal[:, settled]
    columns = np.vstack([np.ones(normal.shape[1]), normal]).T
    coefficients = np.linalg.lstsq(columns, values.T, rcond=None)[0].T
    return tuple(
        _spread(row[:2], values[number], np.asarray(coefficients[number]), (drawn, confidence))
        for number, row in enumerate(rows)
    )


def _spread(
    named: tuple[str, str], values: Array, coefficients: Array, rest: tuple[Drawn, float]
) -> Spread:
    """Describe one quantity by its draws, and check the linear method against them."""
    drawn, confidence = rest
    tail = 0.5 * (1.0 - confidence)
    low, high = (float(end) for end in np.quantile(values, [tail, 1.0 - tail]))
    linear = math.sqrt(float(np.square(coefficients[1:]).sum()))
    half = NormalDist().inv_cdf(1.0 - tail) * linear
    middle, variance = float(coefficients[0]), float(values.var(ddof=1))
    allowed = AGREEMENT * (high - low)
    return Spread(
        quantity=named[0],
        unit=named[1],
        best_estimate=float(np.median(values)),
        standard_uncertainty=math.sqrt(variance),
        low=low,
        high=high,
        linear_low=middle - half,
        linear_high=middle + half,
        linear_agrees=abs(middle - half - low) <= allowed and abs(middle + half - high) <= allowed,
        budget=_budget(drawn.factors.causes, coefficients[1:], variance),
    )


def _budget(
    causes: tuple[str, ...], coefficients: Array, variance: float
) -> tuple[Contribution, ...]:
    """Give the causes by the share of the variance they explain, the largest first."""
    if variance <= 0.0:
        return ()
    shares = np.minimum(np.square(coefficients) / variance, 1.0)
    order = np.argsort(-shares)
    return tuple(Contribution(cause=causes[row], share=float(shares[row])) for row in order)
