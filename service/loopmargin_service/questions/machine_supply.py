"""The supply question that a machine poses: what parts, pumps and fans take, and the peaks."""

from collections.abc import Iterator

import numpy as np

from loopmargin_service.physics.machine import Equilibrium
from loopmargin_service.questions import machine_build
from loopmargin_service.questions.conversion import celsius
from loopmargin_service.questions.electrical_demand import excursion_factor, peak_factor
from loopmargin_service.questions.machine_build import Built
from loopmargin_service.questions.operating_point import stated_power
from loopmargin_service.questions.settled import BASE
from loopmargin_wire.answer import Note
from loopmargin_wire.steady_state import HeatedBlock, SteadyStateQuestion
from loopmargin_wire.supply_headroom import (
    AddInCardLimit,
    Card,
    Excursion,
    Load,
    MeasuredExcursion,
    Processor,
    SupplyHeadroomQuestion,
)
from loopmargin_wire.uncertainty import SupplyUncertainty, Uncertainties


def supply_question(
    question: SteadyStateQuestion,
    built: Built,
    state: Equilibrium,
    asked: SupplyUncertainty | None = None,
) -> SupplyHeadroomQuestion:
    """Ask the supply question that the machine poses at its settled state."""
    doubt = question.uncertainty or Uncertainties()
    of = {load: _of(built, load) for load in ("processor", "card", "other")}
    from_case = question.supply_air == "case"
    inlet = celsius(state.temperatures.case[BASE]) if from_case else question.room.air_c
    return SupplyHeadroomQuestion(
        processor=_processor(of["processor"], doubt.heat),
        cards=tuple(
            Card(
                name=one.name,
                sustained_w=one.power_w,
                excursion=_excursion(one),
                relative_uncertainty=doubt.heat,
            )
            for one in of["card"]
        ),
        others=tuple(
            Load(
                name=one.name,
                sustained_w=one.power_w,
                peak_over_sustained=one.peak_over_sustained,
                relative_uncertainty=doubt.heat,
            )
            for one in of["other"]
        ),
        rest_w=_rest(question, built, state),
        rest_relative_uncertainty=doubt.rest,
        supply=question.supply,
        inlet_c=inlet,
        altitude_m=question.room.altitude_m,
        margin_fraction=question.supply_margin_fraction,
        confidence=question.confidence,
        uncertainty=asked,
    )


def _of(built: Built, load: str) -> list[HeatedBlock]:
    """Give the blocks on one kind of load."""
    return [item.wire for item in built.blocks if item.wire.load == load]


def _processor(blocks: list[HeatedBlock], uncertainty: float) -> Processor:
    """Give all processors as one, which peak together."""
    sustained = sum(item.power_w for item in blocks)
    peak = sum(item.power_w * item.peak_over_sustained for item in blocks)
    return Processor(
        sustained_w=sustained,
        peak_over_sustained=peak / sustained if sustained else 1.0,
        relative_uncertainty=uncertainty,
    )


def _excursion(card: HeatedBlock) -> Excursion:
    """Give the excursion of a card, raised where its peak up to 10 ms is higher."""
    stated = card.excursion or AddInCardLimit()
    before = excursion_factor(stated)
    raised = np.maximum(before, peak_factor(card.peak_over_sustained))
    if (raised == before).all():
        return stated
    shortest, millisecond, ten, hundred = raised[:4].tolist()
    return MeasuredExcursion(
        peak_over_sustained_100_us=shortest,
        peak_over_sustained_1_ms=millisecond,
        peak_over_sustained_10_ms=ten,
        peak_over_sustained_100_ms=hundred,
    )


def _rest(question: SteadyStateQuestion, built: Built, state: Equilibrium) -> float:
    """Add up all that has no block: the rest, pumps and fans; no pump takes less than it gives."""
    pumps = sum(stated_power(pump) for pump in question.pumps)
    if state.converged[BASE]:
        given = state.pump_heat[:, BASE].tolist()
        pumps = sum(
            max(stated_power(pump), heat) for pump, heat in zip(question.pumps, given, strict=True)
        )
    fans = sum(machine_build.fan_power(one) for one in built.fans if one is not None)
    return question.rest_w + pumps + fans


def peak_notes(built: Built) -> Iterator[Note]:
    """Note peaks of cards that their excursion outdoes, so that stating them changed nothing."""
    for item in built.blocks:
        card = item.wire
        if card.load != "card" or card.peak_over_sustained == 1.0:
            continue
        shortest = float(excursion_factor(card.excursion or AddInCardLimit())[0])
        if card.peak_over_sustained < shortest:
            yield Note(
                code="card_peak_below_its_excursion",
                text=f"{card.name} is stated to peak at {card.peak_over_sustained:g} times its "
                f"power, and its excursion reaches {shortest:g} times in the shortest window; the "
                "higher one of each window counts. Where peaks were measured, state them as "
                "`excursion`.",
                pointer="/" + "/".join(map(str, (*item.path, "peak_over_sustained"))),
            )
