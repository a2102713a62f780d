"""Machines whose truth is known: drawn from the stated uncertainties about what was measured.

A shop states what it measured or read, and the truth is that times a factor. So the stated
machine comes first, and its truth is made by writing the factors into the fields that they are
of (curves, powers, bores, resistances), not by the means that the service draws with. Only the
laws of friction, of fittings and of cores have no field that reaches so far; they act on the
physics.
"""

import json
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import msgspec
import numpy as np

from loopmargin_service.physics import machine as physics
from loopmargin_service.physics.loop import LoopFactors
from loopmargin_service.questions import machine_build, pipework
from loopmargin_service.questions.machine_cases import describe_cases
from loopmargin_wire.part import Reservoir
from loopmargin_wire.steady_state import SteadyStateQuestion
from loopmargin_wire.uncertainty import Uncertainties

EXAMPLE = Path(__file__).parents[2] / "openapi" / "examples" / "steady-state.question.json"
DOUBT = Uncertainties()

Document = dict[str, Any]
Factor = Callable[[float], float]


def stated(random: np.random.Generator) -> Document:
    """Give a machine as a shop would state it: the demo machine, varied and well cooled."""
    document: Document = json.loads(EXAMPLE.read_text())
    document["room"]["air_c"] = random.uniform(16.0, 30.0)
    for element in document["branches"][0]["elements"]:
        if element["kind"] == "tube":
            element["length_mm"] *= random.uniform(0.5, 2.0)
        if element["kind"] == "block":
            element["power_w"] *= random.uniform(0.5, 0.9)
        if element["kind"] == "radiator":
            element["fans"]["speed_rpm"] *= random.uniform(1.0, 1.4)
    document["pumps"][0]["speed_rpm"] *= random.uniform(0.9, 1.3)
    return document


def factor_of(random: np.random.Generator) -> Factor:
    """Give lognormal factors about one, of a relative standard uncertainty."""
    return lambda relative: float(np.exp(np.sqrt(np.log1p(relative**2)) * random.normal()))


def truth(document: Document, factor: Factor, core_law: float) -> dict[str, float] | None:
    """Draw the truth behind a stated machine and solve it; nothing if it does not settle.

    The law of the core is as uncertain as the answer says, which depends on the air's speed.
    """
    real = json.loads(json.dumps(document))
    fans, pump = factor(DOUBT.air_flow), factor(DOUBT.pump_speed)
    _off(real["pumps"][0]["curve"], "flow_l_per_min", "head_m", pump)
    real["rest_w"] *= factor(DOUBT.rest)
    bore, drop = factor(DOUBT.bore), factor(DOUBT.part_drop)
    walls = factor(DOUBT.installation) * factor(core_law)
    for element in real["branches"][0]["elements"]:
        _wrong(element, factor, (bore, drop))
        if element["kind"] == "radiator":
            _off(element["fans"]["fan"]["curve"], "air_flow_m3_per_h", "pressure_pa", fans)
    laws = LoopFactors(friction=factor(DOUBT.friction_law), fittings=factor(DOUBT.fitting_law))
    return solved(msgspec.convert(real, SteadyStateQuestion), laws, walls)


def _off(curve: list[dict[str, float]], across: str, along: str, speed: float) -> None:
    """Move a curve as a change of speed does."""
    for point in curve:
        point[across] *= speed
        point[along] *= speed**2


def _wrong(element: Document, factor: Factor, common: tuple[float, float]) -> None:
    """Put an element off what is stated of it."""
    bore, drop = common
    for field in ("bore_mm", "tube_bore_mm"):
        if field in element:
            element[field] *= bore
    if "kv_m3_per_h" in element:
        element["kv_m3_per_h"] /= drop**0.5
    if "pressure_drop" in element:
        _lose_more(element["pressure_drop"], drop)
    if element["kind"] == "block":
        element["power_w"] *= factor(DOUBT.heat)
        _resist_more(element["resistance"], factor(DOUBT.block_law))
        element["interface_k_per_w"] *= factor(DOUBT.interface_resistance)


def _lose_more(loss: Document, drop: float) -> None:
    """Multiply a pressure drop, however it is given."""
    for point in loss.get("points", ()):
        point["pressure_drop_kpa"] *= drop
    for field in ("linear_kpa_per_l_per_min", "quadratic_kpa_per_l_per_min2"):
        if field in loss:
            loss[field] *= drop


def _resist_more(resistance: Document, factor: float) -> None:
    """Multiply a resistance, however it is given."""
    for point in resistance.get("points", ()):
        point["resistance_k_per_w"] *= factor
    for field in ("minimum_k_per_w", "factor_k_per_w"):
        if field in resistance:
            resistance[field] *= factor


def solved(
    question: SteadyStateQuestion, laws: LoopFactors, walls: float
) -> dict[str, float] | None:
    """Solve one machine, off the laws by factors, in the names of the answer's spreads."""
    reservoir = question.reservoir or Reservoir(node=question.pumps[0].from_node)
    plumbing = pipework.build(question.branches, question.pumps, reservoir.node)
    built = machine_build.build(question, plumbing)
    setting = machine_build.setting(question, built, *np.ones((2, 1)))
    setting = setting._replace(loop_factors=laws, ua_factor=np.full((1, 1), walls))
    cases = describe_cases(built, setting, physics.solve(built.machine, setting))
    if not cases.settled[0]:
        return None
    return dict(_named(cases.component_c[:, 0].tolist())) | {
        "hottest coolant": float(cases.coolant_hottest_c[0]),
        "coolant flow": float(cases.flow_l_per_min[0]),
        "air in the case": float(cases.case_air_c[0]),
    }


def _named(components: list[float]) -> Iterator[tuple[str, float]]:
    """Name the parts of the demo machine."""
    for row, (name, value) in enumerate(zip(("card", "processor"), components, strict=True)):
        yield f"temperature of {name} ({row + 1})", value
