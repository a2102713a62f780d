"""Drawn sweeps over random machines: whatever an axis turns, a case is its machine drawn alone.

One half of the machines is the example in all sizes. The other half fits the wire and does not
contradict itself, but most of those could never be built.
"""

import itertools

import msgspec
import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from loopmargin_service.questions import steady_state, sweep, sweep_axes
from loopmargin_service.questions.refusals import Refusal
from loopmargin_wire.steady_state import SteadyStateAnswer, SteadyStateQuestion
from loopmargin_wire.sweep import FactorAxis, FieldAxis, Grid, SweepQuestion
from loopmargin_wire.uncertainty import Uncertainties
from tests.unit.questions.asked import changed
from tests.unit.questions.drawn import STEADY_STATE_QUESTIONS
from tests.unit.questions.swept import CARD_W, DRAWS, FAN_RPM, PROCESSOR_W, machine

LARGE_INPUT = (HealthCheck.too_slow, HealthCheck.data_too_large, HealthCheck.filter_too_much)
FEW = settings(
    max_examples=12,
    deadline=None,
    suppress_health_check=LARGE_INPUT,
    phases=(Phase.explicit, Phase.reuse, Phase.generate, Phase.shrink),
)
MACHINE = ("hottest coolant", "mean coolant", "coolant flow", "air in the case")
Factors = tuple[float, float]
FACTORS = st.tuples(st.floats(0.5, 1.0), st.floats(1.0, 2.0))
SIZES = st.fixed_dictionaries(
    {
        CARD_W: st.floats(30.0, 300.0),
        PROCESSOR_W: st.floats(0.0, 150.0),
        FAN_RPM: st.floats(500.0, 1800.0),
        "branches/0/elements/2/captured_fraction": st.floats(0.4, 1.0),
        "pumps/0/speed_rpm": st.floats(1200.0, 5000.0),
        "room/altitude_m": st.floats(0.0, 2500.0),
        "coolant/mass_fraction": st.floats(0.1, 0.5),
        "confidence": st.floats(0.5, 0.99),
        "uncertainty": st.fixed_dictionaries(
            {
                name: st.floats(0.0, 0.3)
                for name in ("air_flow", "heat", "rest", "block_law", "pump_speed", "friction_law")
            }
        ),
    }
)
MACHINES = STEADY_STATE_QUESTIONS | SIZES.map(
    lambda sizes: msgspec.convert(changed(machine(), sizes), SteadyStateQuestion)
)
TURNED = st.permutations(("fan_speeds", "pump_speeds", "part_powers", "/rest_w", "/room/air_c"))


@FEW
@given(asked=MACHINES, turned=TURNED, factors=FACTORS)
def test_any_case_is_the_machine_drawn_alone(
    asked: SteadyStateQuestion, turned: list[str], factors: Factors
) -> None:
    """Two axes of the five, at two values each: spreads and chances to the last digit."""
    asked = msgspec.structs.replace(
        asked, listener=None, uncertainty=asked.uncertainty or Uncertainties()
    )
    axes = tuple(_axis(asked, name, factors) for name in turned[:2])
    question = SweepQuestion(machine=asked, axes=axes, draws=DRAWS)
    try:
        changes = sweep_axes.changes(question)
        found = sweep.answer(question).state
    except Refusal:
        return
    assert found.drawn is not None
    for case, values in enumerate(itertools.product(*(change.values for change in changes))):
        if found.status[case] == "refused":
            continue
        there = asked
        for change, value in zip(changes, values, strict=True):
            there = sweep_axes.applied(there, change, value)
        drawn = msgspec.structs.replace(there.uncertainty, draws=DRAWS)
        alone = msgspec.structs.replace(there, uncertainty=drawn)
        _agree(found, case, steady_state.answer(alone, seed=found.drawn.seed))


def _axis(asked: SteadyStateQuestion, name: str, factors: Factors) -> FactorAxis | FieldAxis:
    """Turn a group by factors, or a field by as much as that."""
    if name == "/rest_w":
        values = tuple(min(asked.rest_w * factor, 1000.0) for factor in factors)
        return FieldAxis(pointer=name, values=values)
    if name == "/room/air_c":
        values = tuple(min(asked.room.air_c + factor, 45.0) for factor in factors)
        return FieldAxis(pointer=name, values=values)
    return msgspec.convert({"kind": "factor", "of": name, "values": factors}, FactorAxis)


def _agree(found: Grid, case: int, alone: SteadyStateAnswer) -> None:
    """Hold what the draws say of a case against the answer for its machine."""
    told = {column.name: column.values[case] for column in found.columns}
    parts = [name for name in told if name.startswith("part ") and name[-1].isdigit()]
    names = ("coolant_hottest", "coolant_mean", "flow", "case_air", *parts)
    if alone.state is None:
        assert found.status[case] != "settled"
        assert told["holds chance"] is told["settled_share"] is None
        return
    assert alone.state.simulation is not None
    spreads = {row.quantity: row for row in alone.state.simulation.spreads}
    blocks = [f"temperature of {name.removeprefix('part ')}" for name in parts]
    quantities = (*MACHINE, *(f"{name} ({row + 1})" for row, name in enumerate(map(_bare, blocks))))
    for name, quantity in zip(names, quantities, strict=True):
        row = spreads.get(quantity)
        three = (row.standard_uncertainty, row.low, row.high) if row else (None, None, None)
        kinds = ("standard_uncertainty", "low", "high")
        assert tuple(told[f"{name} {kind}"] for kind in kinds) == pytest.approx(three, rel=1e-9)
    chances = [
        margin.chance
        for margin in alone.margins
        if margin.criterion in ("hottest coolant", "loop flow")
        or margin.criterion.startswith("temperature of ")
    ]
    own = ("coolant_hottest", *parts, "flow")
    assert [told[f"{name} chance"] for name in own] == chances
    assert told["settled_share"] == alone.state.simulation.settled_share


def _bare(name: str) -> str:
    """Leave out the number of a part."""
    return name.rpartition(" ")[0]
