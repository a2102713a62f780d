"""`supply-headroom`: demand and capacity of the supply in every window, plugs and mains.

Each allowance is used once. Peaks meet the allowance of their window; the derating by inlet
and altitude lowers the rating; the margin fraction is added to the rating needed, and only
there, in place of the uncertainty that the windows are judged with.
"""

from collections.abc import Iterator
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from loopmargin_service.physics import excursion
from loopmargin_service.physics import supply as supplies
from loopmargin_service.questions import electrical_draws
from loopmargin_service.questions.edition import EDITION
from loopmargin_service.questions.electrical_connectors import (
    connector_margins,
    connector_states,
)
from loopmargin_service.questions.electrical_demand import (
    WINDOW_NAMES,
    WINDOWS,
    Demand,
    electrical_demand,
)
from loopmargin_service.questions.electrical_draws import DrawnLoads
from loopmargin_service.questions.electrical_notes import electrical_notes
from loopmargin_service.questions.electrical_sources import basis, cautions
from loopmargin_service.questions.electrical_supply import (
    Column,
    Derating,
    allowance_column,
    derating,
    efficiency_faults,
    mains,
)
from loopmargin_service.questions.margins import margin
from loopmargin_service.questions.refusals import Refusal
from loopmargin_service.questions.spreads import standard_uncertainty, support_notes
from loopmargin_wire.answer import Margin, Outcome
from loopmargin_wire.supply_headroom import (
    HeadroomState,
    PublishedStaircase,
    SupplyHeadroomAnswer,
    SupplyHeadroomQuestion,
    Window,
    WindowState,
)


class Needed(NamedTuple):
    """Continuous power that each window asks for, with the allowance that this counts on."""

    column: Column
    allowances: NDArray[np.float64]
    power: NDArray[np.float64]

    @property
    def largest(self) -> float:
        """Power that the governing window asks for. [W]"""
        return float(self.power.max())


def answer(question: SupplyHeadroomQuestion) -> SupplyHeadroomAnswer:
    """Answer whether the supply and its plugs are enough."""
    faults = efficiency_faults(question.supply.efficiency, ("supply", "efficiency"))
    if faults:
        raise Refusal(*faults)
    demand = electrical_demand(question)
    drawn = electrical_draws.draw(question, demand)
    state = _state(question, demand, drawn)
    return SupplyHeadroomAnswer(
        edition=EDITION,
        outcome=_outcome(question, state),
        margins=tuple(_margins(question, state, drawn)),
        basis=basis(question),
        notes=(*electrical_notes(question, state), *support_notes(state.simulation)),
        cautions=cautions(question),
        question=question,
        state=state,
    )


def _needed(question: SupplyHeadroomQuestion, demand: Demand, rated_w: float) -> Needed:
    """Give what the windows ask of a supply like the one in question, had it this rating."""
    column = allowance_column(question.supply, rated_w)
    allowances = excursion.allowance(WINDOWS, column.factors)
    return Needed(column, allowances, supplies.required_power(demand.power, allowances))


def _state(
    question: SupplyHeadroomQuestion, demand: Demand, drawn: DrawnLoads | None
) -> HeadroomState:
    supply = question.supply
    derate = derating(supply, question.inlet_c, question.altitude_m)
    needed = _needed(question, demand, supply.rated_w)
    with_margin = needed.largest * (1.0 + question.margin_fraction)
    carried = demand.sustained <= supply.rated_w * derate.factor
    return HeadroomState(
        windows=_windows(question, demand, needed, supply.rated_w * derate.factor),
        governing_window=_governing(needed),
        allowance_column=needed.column.name,
        sustained_w=demand.sustained,
        sustained_uncertainty_w=(
            float(demand.uncertainty[-1])
            if drawn is None
            else standard_uncertainty(drawn.demand[-1])
        ),
        full_rating_up_to_c=derate.full_rating_up_to_c,
        derate_factor=derate.factor,
        required_power_w=needed.largest,
        required_power_with_margin_w=with_margin,
        required_rating_w=with_margin / derate.factor if derate.factor > 0.0 else None,
        next_common_rating_w=_next_common_rating(question, demand, derate),
        mains=mains(supply, demand.sustained) if carried else None,
        connectors=connector_states(question.connectors),
        simulation=electrical_draws.described(question, drawn, carried=carried),
    )


def _windows(
    question: SupplyHeadroomQuestion, demand: Demand, needed: Needed, derated_w: float
) -> tuple[WindowState, ...]:
    levels: list[float | None] = [None] * len(WINDOW_NAMES)
    if isinstance(question.supply.allowance, PublishedStaircase):
        tested = excursion.recovery_level(needed.column.factors, excursion.TEST_DUTY)
        levels[: tested.size] = (derated_w * tested).tolist()
    return tuple(
        WindowState(
            window=name,
            demand_w=power,
            capacity_w=derated_w * allowance,
            allowance_factor=allowance,
            required_power_w=required,
            recovery_level_w=level,
        )
        for name, power, allowance, required, level in zip(
            WINDOW_NAMES,
            demand.power.tolist(),
            needed.allowances.tolist(),
            needed.power.tolist(),
            levels,
            strict=True,
        )
    )


def _governing(needed: Needed) -> Window:
    """Name the window that asks for most, the longest one of equals."""
    return WINDOW_NAMES[-1 - int(np.flip(needed.power).argmax())]


def _next_common_rating(
    question: SupplyHeadroomQuestion, demand: Demand, derate: Derating
) -> float | None:
    """Find the smallest rating on sale that suffices with the allowance it would have itself."""
    for rating in sorted(question.supply.standard_ratings_w):
        largest = _needed(question, demand, rating).largest
        if largest * (1.0 + question.margin_fraction) <= rating * derate.factor:
            return rating
    return None


def _margins(
    question: SupplyHeadroomQuestion, state: HeadroomState, drawn: DrawnLoads | None
) -> Iterator[Margin]:
    confidence = question.confidence
    for row, window in enumerate(state.windows):
        criterion = f"power, {window.window.replace('_', ' ')}"
        left = None if drawn is None else window.capacity_w - drawn.demand[row]
        yield margin(criterion, window.demand_w, window.capacity_w, "W", confidence, left)
    derated = question.supply.rated_w * state.derate_factor
    yield margin("rating with margin", state.required_power_with_margin_w, derated, "W", confidence)
    factors = None if drawn is None else drawn.connectors
    yield from connector_margins(question.connectors, state.connectors, confidence, factors)


def _outcome(question: SupplyHeadroomQuestion, state: HeadroomState) -> Outcome:
    if state.mains is not None:
        return Outcome(status="solved")
    derated = question.supply.rated_w * state.derate_factor
    advice = []
    if state.next_common_rating_w is not None:
        advice.append(f"Take a supply of {state.next_common_rating_w:.0f} W.")
    if state.derate_factor < 1.0:
        advice.append(
            f"Bring the air that enters the supply below {state.full_rating_up_to_c:.1f} degC, "
            "where it gives its full rating."
        )
    advice.append("Lower the power limit of a card or of the processor.")
    return Outcome(
        status="no_operating_point",
        reason=f"The sustained load is {state.sustained_w:.0f} W, and at an inlet of "
        f"{question.inlet_c:.1f} degC and {question.altitude_m:.0f} m this supply gives "
        f"{derated:.0f} W; it would trip or overheat, so its mains side has no steady state.",
        advice=tuple(advice),
    )
