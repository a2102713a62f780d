"""What a machine stores heat in: coolant, metal and plastics, from the lists of the question."""

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from loopmargin_service.physics import heat_store
from loopmargin_service.physics.lumped import Stores
from loopmargin_service.physics.machine import Equilibrium
from loopmargin_service.physics.network import Array
from loopmargin_service.questions import parts
from loopmargin_service.questions.conversion import ML, MM, celsius, out
from loopmargin_service.questions.machine_build import Built
from loopmargin_service.questions.refusals import Fault, Refusal
from loopmargin_wire.answer import Note
from loopmargin_wire.part import Tube
from loopmargin_wire.steady_state import MachineBranch
from loopmargin_wire.warm_up import BlockStore, RadiatorStore, WarmUpQuestion

# Blocks and radiators that are followed one by one; answers would grow too long beyond.
MOST_PARTS = 32
RESERVOIR_ML = 150.0
# Coolant that has to be left for tubes and reservoir.
LEAST_BULK_ML = 10.0
# A junction that nothing flows through has this share of the coolant of the others.
LEAST_SHARE = 1e-3


class Contents(NamedTuple):
    """What each block and each radiator is made of, in the machine's order; all coolant. [mL]"""

    blocks: tuple[BlockStore, ...]
    radiators: tuple[RadiatorStore, ...]
    coolant_ml: float

    @property
    def bulk_ml(self) -> float:
        """Coolant in tubes and reservoir. [mL]"""
        return self.coolant_ml - inside_ml(self.blocks, self.radiators)

    @property
    def still(self) -> Array:
        """Conductance of each radiator without fans, (radiators, 1). [W/K]"""
        values = [item.still_conductance_w_per_k for item in self.radiators]
        return np.array(values, dtype=np.float64)[:, None]


def contents(question: WarmUpQuestion, built: Built) -> Contents:
    """Match the lists of the question with the machine, or refuse them."""
    blocks = [item.wire.name for item in built.blocks]
    radiators = [item.wire.name for item in built.radiators]
    if len(blocks) + len(radiators) > MOST_PARTS:
        raise Refusal(
            Fault(
                ("machine", "branches"),
                f"{len(blocks) + len(radiators)} blocks and radiators are more than the "
                f"{MOST_PARTS} that are followed in time; ask about a part of the machine",
            )
        )
    listed_blocks = [item.block for item in question.blocks]
    listed_radiators = [item.radiator for item in question.radiators]
    faults = [
        *_name_faults("blocks", "block", listed_blocks, blocks),
        *_name_faults("radiators", "radiator", listed_radiators, radiators),
    ]
    if faults:
        raise Refusal(*faults)
    given_blocks = {item.block: item for item in question.blocks}
    given_radiators = {item.radiator: item for item in question.radiators}
    in_blocks = tuple(given_blocks.get(name, BlockStore(block=name)) for name in blocks)
    in_radiators = tuple(
        given_radiators.get(name, RadiatorStore(radiator=name)) for name in radiators
    )
    return _filled(question, in_blocks, in_radiators)


def _name_faults(
    field: str, key: str, listed: Sequence[str], present: Sequence[str]
) -> list[Fault]:
    """Find names that the machine does not have, and names listed twice."""
    faults = []
    for number, name in enumerate(listed):
        place = (field, number, key)
        if name not in present:
            known = ", ".join(repr(one) for one in dict.fromkeys(present)) or "none"
            faults.append(Fault(place, f"the machine has no {key} {name!r}; it has {known}"))
        elif name in listed[:number]:
            faults.append(Fault(place, f"{name!r} is listed twice; keep one entry for each name"))
    return faults


def _filled(
    question: WarmUpQuestion,
    blocks: tuple[BlockStore, ...],
    radiators: tuple[RadiatorStore, ...],
) -> Contents:
    """Take the coolant as given, or add it up; refuse less than the parts hold."""
    inside = inside_ml(blocks, radiators)
    if question.coolant_volume_ml is None:
        tubes = tube_volume_ml(question.machine.branches)
        return Contents(blocks, radiators, inside + tubes + RESERVOIR_ML)
    if question.coolant_volume_ml < inside + LEAST_BULK_ML:
        raise Refusal(
            Fault(
                ("coolant_volume_ml",),
                f"{question.coolant_volume_ml:g} mL is less than the {inside:g} mL inside blocks "
                f"and radiators and {LEAST_BULK_ML:g} mL for the tubes; state the coolant of the "
                "whole loop, or less coolant_ml in the parts",
            )
        )
    return Contents(blocks, radiators, question.coolant_volume_ml)


def inside_ml(blocks: Sequence[BlockStore], radiators: Sequence[RadiatorStore]) -> float:
    """Give the coolant inside all blocks and radiators. [mL]"""
    in_blocks = sum(item.coolant_ml for item in blocks)
    return in_blocks + sum(item.coolant_ml for item in radiators)


def tube_volume_ml(branches: Sequence[MachineBranch]) -> float:
    """Give what the tubes of all branches hold. [mL]"""
    tubes = (item for branch in branches for item in branch.elements if isinstance(item, Tube))
    volume = sum(0.25 * np.pi * (tube.bore_mm * MM) ** 2 * tube.length_mm * MM for tube in tubes)
    return out(volume, ML)


def stores(question: WarmUpQuestion, built: Built, held: Contents, state: Equilibrium) -> Stores:
    """Give the heat capacities of junctions, blocks and radiators, each (…, 1). [J/K]"""
    mix = parts.mix(question.machine.coolant)
    liquid = parts.liquid(mix, celsius(state.stacked[:, 0].mean()))
    per_ml = float(liquid.density[0] * liquid.heat_capacity[0]) * ML
    bulk = held.bulk_ml * per_ml
    bulk += question.plastic_kg * question.plastic_fraction * heat_store.PLASTIC
    return Stores(
        junction=bulk * _junction_shares(built, state),
        block=_column(held.blocks, per_ml),
        radiator=_column(held.radiators, per_ml),
    )


def _column(items: Sequence[BlockStore | RadiatorStore], per_ml: float) -> Array:
    """Give the heat capacity of each part with its coolant, (parts, 1). [J/K]"""
    rows = [
        heat_store.metal(item.copper_kg, item.brass_kg, item.aluminium_kg)
        + item.coolant_ml * per_ml
        for item in items
    ]
    return np.array(rows, dtype=np.float64).reshape(-1, 1)


def _junction_shares(built: Built, state: Equilibrium) -> Array:
    """Share the bulk coolant among the junctions by the flow through them, (junctions, 1)."""
    loop = built.machine.loop
    flow = np.abs(state.flows.flow[:, 0])
    through = np.zeros(loop.node_count)
    np.add.at(through, np.array(loop.topology.tail), flow)
    np.add.at(through, np.array(loop.topology.head), flow)
    through += LEAST_SHARE * through.sum() / loop.node_count
    return np.asarray((through / through.sum())[:, None])


def inventory_notes(question: WarmUpQuestion, held: Contents) -> list[Note]:
    """Note every amount that was assumed."""
    notes = []
    if question.coolant_volume_ml is None:
        notes.append(
            Note(
                code="coolant_volume_assumed",
                text=f"{held.coolant_ml:.0f} mL of coolant: tubes from bore and length, "
                f"{RESERVOIR_ML:g} mL in the reservoir, the rest in blocks and radiators. "
                "Measure what you fill in and state it.",
                pointer="/coolant_volume_ml",
            )
        )
    for field, items, listed in (
        ("blocks", [item.block for item in held.blocks], {i.block for i in question.blocks}),
        (
            "radiators",
            [item.radiator for item in held.radiators],
            {i.radiator for i in question.radiators},
        ),
    ):
        assumed = [name for name in dict.fromkeys(items) if name not in listed]
        if assumed:
            notes.append(_assumed_note(field, assumed))
    return notes


def _assumed_note(field: str, names: list[str]) -> Note:
    """Say with which masses parts were taken that are not listed."""
    store = BlockStore(block="block") if field == "blocks" else RadiatorStore(radiator="radiator")
    return Note(
        code=f"{field}_assumed",
        text=f"{', '.join(names[:MOST_PARTS])[:1500]}: taken as {store.copper_kg:g} kg of copper, "
        f"{store.brass_kg:g} kg of brass, {store.aluminium_kg:g} kg of aluminium and "
        f"{store.coolant_ml:g} mL of coolant each (common practice, no source); weigh the parts "
        "and state it.",
        pointer=f"/{field}",
    )
