"""Part questions drawn: a draw is the question with its numbers changed, and zero is certain."""

from collections.abc import Callable
from typing import Any

import msgspec
import numpy as np
import pytest

from loopmargin_service.questions import (
    noise,
    parts,
    pump_head,
    radiator_area,
    radiator_draws,
    supply_headroom,
    warm_up,
)
from loopmargin_service.questions.section_air import section_air
from loopmargin_wire.answer import Answer, Question
from loopmargin_wire.noise import NoiseQuestion
from loopmargin_wire.pump_head import PumpHeadQuestion
from loopmargin_wire.radiator_area import RadiatorAreaQuestion
from loopmargin_wire.supply_headroom import SupplyHeadroomQuestion
from loopmargin_wire.uncertainty import Drawing, Simulation
from loopmargin_wire.warm_up import WarmUpQuestion
from tests.unit.questions.asked import example

PARTS: dict[str, tuple[type[Question], Callable[[Any], Answer]]] = {
    "radiator-area": (RadiatorAreaQuestion, radiator_area.answer),
    "pump-head": (PumpHeadQuestion, pump_head.answer),
    "noise": (NoiseQuestion, noise.answer),
    "warm-up": (WarmUpQuestion, warm_up.answer),
    "supply-headroom": (SupplyHeadroomQuestion, supply_headroom.answer),
}
WITH_OWN = [name for name in PARTS if name != "supply-headroom"]


def ask(name: str, uncertainty: dict[str, float] | None) -> Any:  # noqa: ANN401 - any answer
    """Ask an example with another uncertainty."""
    kind, answer = PARTS[name]
    return answer(msgspec.convert(example(name, {"uncertainty": uncertainty}), kind))


def certain(name: str) -> dict[str, float]:
    """Give an uncertainty of nothing."""
    kind, _ = PARTS[name]
    doubt = msgspec.convert(example(name), kind).uncertainty  # type: ignore[attr-defined]
    fields = {field.name for field in msgspec.structs.fields(doubt)}
    apart = {field.name for field in msgspec.structs.fields(Drawing)}
    return dict.fromkeys(fields - apart, 0.0)


@pytest.mark.parametrize("name", WITH_OWN)
def test_certain_inputs_are_certain_answers(name: str) -> None:
    """Without any doubt chances are 0 or 1, nothing spreads, and no cause is named."""
    answer = ask(name, certain(name))
    simulation: Simulation = answer.state.simulation

    assert {row.chance for row in answer.margins} <= {0.0, 1.0}
    assert all(row.standard_uncertainty == pytest.approx(0.0, abs=1e-9) for row in answer.margins)
    assert all(row.high - row.low == pytest.approx(0.0, abs=1e-6) for row in simulation.spreads)
    assert simulation.inputs == ()


@pytest.mark.parametrize("name", PARTS)
def test_every_margin_has_what_was_drawn(name: str) -> None:
    """Chances come with their error; only the rating with its margin has none."""
    answer = ask(name, {})

    for row in answer.margins:
        if row.criterion != "rating with margin":
            assert row.chance is not None
            assert row.chance_standard_error > 0.0
    assert answer.state.simulation.spreads


@pytest.mark.parametrize("name", PARTS)
def test_null_draws_nothing_and_claims_nothing(name: str) -> None:
    """No chance, no uncertainty, no verdict of tight, and a note that says so."""
    answer = ask(name, None)

    assert answer.state.simulation is None
    assert {row.chance for row in answer.margins} == {None}
    assert "tight" not in {row.verdict for row in answer.margins}
    assert [note.code for note in answer.notes].count("not_drawn") == 1


def test_a_draw_is_the_radiator_with_its_numbers_changed() -> None:
    """Heat, both streams and the walls of a draw, put into the question, give its rise.

    Properties follow the mean temperature there and stay in the draws, which is what is left.
    """
    air = {"kind": "air_flow", "air_flow_m3_per_h": 90}
    changes = {"air": air, "uncertainty": {"core_law": 0}, "radiator/installation_factor": 0.7}
    document = example("radiator-area", changes)
    question = msgspec.convert(document, RadiatorAreaQuestion)
    plain = radiator_area.answer(question).state
    assert plain is not None
    section = parts.section(question.radiator, ("radiator",))
    water = radiator_area.coolant(question, plain.coolant_in_c)
    rest = (water, plain.rise_k)
    found = radiator_draws.draw(question, section, section_air(question, section), rest)
    assert found is not None

    factors = {
        name: np.asarray(found.drawn.factor(name))
        for name in ("heat", "coolant flow", "stated air flow", "installation")
    }
    for row in range(5):
        factor = {name: float(values[row]) for name, values in factors.items()}
        changed = {
            "heat_w": document["heat_w"] * factor["heat"],
            "flow_l_per_min": document["flow_l_per_min"] * factor["coolant flow"],
            "radiator/installation_factor": 0.7 * factor["installation"],
            "air": {"kind": "air_flow", "air_flow_m3_per_h": 90 * factor["stated air flow"]},
        }
        asked = msgspec.convert(example("radiator-area", changed), RadiatorAreaQuestion)
        state = radiator_area.answer(asked).state
        assert state is not None
        assert found.rise_at_heat[row] == pytest.approx(state.rise_at_heat_k, rel=2e-3)
