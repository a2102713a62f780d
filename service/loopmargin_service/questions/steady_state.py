"""`steady-state`: the whole machine at equilibrium, with the margins of every part question."""

import numpy as np

from loopmargin_service.physics import machine as physics
from loopmargin_service.questions import (
    machine_build,
    machine_draws,
    machine_noise,
    machine_state,
    machine_supply,
    parts,
    pipework,
    supply_headroom,
    wording,
)
from loopmargin_service.questions.affinity import too_fast
from loopmargin_service.questions.conversion import celsius
from loopmargin_service.questions.edition import EDITION
from loopmargin_service.questions.flow_findings import flow_findings, with_findings
from loopmargin_service.questions.loop_margins import (
    inlet_notes,
    loop_basis,
    power_notes,
    pump_notes,
    rising_air_notes,
    transitional_notes,
)
from loopmargin_service.questions.machine_cases import HOTTEST_CASE_C, HOTTEST_COOLANT_C
from loopmargin_service.questions.machine_margins import machine_margins
from loopmargin_service.questions.margins import failing, fails
from loopmargin_service.questions.radiator_range import fan_notes, radiator_notes
from loopmargin_service.questions.settled import BASE, Settled
from loopmargin_service.questions.spreads import support_notes
from loopmargin_wire.answer import Basis, Margin, Note, Outcome
from loopmargin_wire.part import Reservoir
from loopmargin_wire.radiator import CoreRadiator
from loopmargin_wire.steady_state import MachineState, SteadyStateAnswer, SteadyStateQuestion

SUPPLY_ADVICE = "Take a supply of the next common rating, or lower the power of the parts."
TIGHT_ADVICE = (
    "A margin is tight: ask solve-for at which fan speed, pump speed, power or room temperature "
    "it holds with the confidence wanted, or measure what the budget names first."
)
PLAIN_ADVICE = (
    "Temperatures: faster fans, more radiator face or less power. Flow and head: a faster pump or "
    "a less restrictive loop."
)


def answer(question: SteadyStateQuestion, *, seed: str | None = None) -> SteadyStateAnswer:
    """Solve flow, heat, air and supply together and judge every criterion.

    A *seed* makes the draws those of another question.
    """
    parts.above_freezing(parts.mix(question.coolant), question.room.air_c, ("room", "air_c"))
    doubts = machine_draws.doubts_of(question, seed)
    noise = machine_noise.machine_noise(question, doubts.noise)
    reservoir = question.reservoir or Reservoir(node=question.pumps[0].from_node)
    plumbing = pipework.build(question.branches, question.pumps, reservoir.node)
    built = machine_build.build(question, plumbing)
    state = physics.solve(built.machine, machine_build.setting(question, built, *np.ones((2, 1))))
    posed = machine_supply.supply_question(question, built, state, doubts.supply)
    settled = Settled(question, plumbing, built, state, supply_headroom.answer(posed), noise)
    trouble = _trouble(settled)
    if trouble is not None:
        return _answer(settled, trouble, settled.part_margins, None)
    if question.uncertainty is not None:
        drawn = machine_draws.draw(settled.best, question.uncertainty, doubts.seed)
        settled = settled._replace(drawn=drawn)
    described = machine_state.describe(settled)
    margins = machine_margins(settled, described)
    outcome = _outcome(margins, settled)
    return _answer(settled, outcome, (*margins, *settled.part_margins), described)


def _trouble(settled: Settled) -> Outcome | None:
    """Say why there is no state to report, if there is none."""
    fans = (fans for fans in settled.built.fans if fans is not None)
    fast = too_fast(settled.question.pumps, fans)
    if fast is not None:
        return fast
    hot = _unsettled(settled)
    return None if hot is None else with_findings(hot, flow_findings(settled))


def _unsettled(settled: Settled) -> Outcome | None:
    """Say what the machine does instead of settling, if it does."""
    state = settled.state
    doubt = float(state.change[BASE])
    if celsius(state.stacked[:, BASE].max()) - doubt > HOTTEST_COOLANT_C:
        return Outcome(
            status="outside_validity",
            reason=f"the coolant would settle above {HOTTEST_COOLANT_C:g} degC, where it is close "
            "to boiling and its properties are no longer known well",
            advice=(
                (
                    "Add radiator face, run fans or pump faster, or lower the power: the machine "
                    "must not be run like this."
                ),
            ),
        )
    if celsius(state.temperatures.case[BASE]) - doubt > HOTTEST_CASE_C:
        return Outcome(
            status="outside_validity",
            reason=f"the air in the case would settle above {HOTTEST_CASE_C:g} degC",
            advice=("Open the case, add case fans, or move heat out of the case air.",),
        )
    if not state.converged[BASE]:
        return Outcome(
            status="not_converged",
            reason="flow, air and heat of this machine did not settle together",
            advice=("Check for extreme sizes, such as a very narrow bore or a tiny opening.",),
        )
    return None


def _outcome(margins: tuple[Margin, ...], settled: Settled) -> Outcome:
    """Say what fails and what would help."""
    missed = failing(margins)
    advice = [PLAIN_ADVICE] if missed else []
    findings = flow_findings(settled) if missed else ()
    supply, noise = settled.supply, settled.noise
    short = failing(supply.margins)
    if short:
        missed += short
        advice += supply.outcome.advice or (SUPPLY_ADVICE,)
    if noise is not None and noise.outcome.reason:
        missed += [item.criterion for item in noise.margins]
        advice += noise.outcome.advice
    if not missed:
        every = (*margins, *settled.part_margins)
        tight = any(item.verdict == "tight" for item in every)
        return Outcome(status="solved", advice=(TIGHT_ADVICE,) if tight else ())
    outcome = Outcome(status="solved", reason=fails(missed), advice=tuple(advice))
    return with_findings(outcome, findings)


def _answer(
    settled: Settled,
    outcome: Outcome,
    margins: tuple[Margin, ...],
    described: MachineState | None,
) -> SteadyStateAnswer:
    """Put the answer together."""
    return SteadyStateAnswer(
        edition=EDITION,
        outcome=outcome,
        margins=margins,
        basis=_basis(settled),
        notes=_notes(settled, described),
        cautions=tuple(
            dict.fromkeys(
                (
                    *wording.LIQUID_CAUTIONS,
                    wording.FAN_CAUTION,
                    *settled.supply.cautions,
                    wording.ESTIMATE_CAUTION,
                )
            )
        ),
        question=settled.question,
        state=described,
    )


def _basis(settled: Settled) -> tuple[Basis, ...]:
    """Name every law once."""
    laws = list(loop_basis(settled.question.branches, settled.question.coolant))
    laws += [wording.BALANCE, wording.BLOCKS, wording.AIR, wording.EFFECTIVENESS, wording.GRILLES]
    for item in settled.built.radiators:
        if isinstance(item.wire.radiator, CoreRadiator):
            laws += [wording.LOUVRED_HEAT, wording.LOUVRED_DROP]
        else:
            laws.append(wording.RATED)
    laws += settled.supply.basis
    laws += settled.noise.basis if settled.noise else ()
    return tuple(dict.fromkeys(laws))


def _notes(settled: Settled, described: MachineState | None) -> tuple[Note, ...]:
    """Note what was assumed and what stands near or outside the range of a law."""
    notes = [wording.AIR_FLOW_NOTE, wording.NO_LOOP_LOSS_NOTE]
    notes += inlet_notes(settled.question.reservoir)
    notes += [Note(code=note.code, text=note.text) for note in settled.supply.notes]
    notes += machine_supply.peak_notes(settled.built)
    notes += machine_noise.noise_notes(settled.noise) if settled.noise else ()
    if described is None:
        return tuple(notes)
    notes += support_notes(described.simulation)
    notes += transitional_notes(described.elements)
    notes += rising_air_notes(described.elements)
    notes += pump_notes(settled.question.pumps, described.pumps)
    notes += power_notes(settled.question.pumps, described.pumps)
    for item, point, section in zip(
        settled.built.radiators, described.radiators, settled.built.machine.sections, strict=True
    ):
        pointer = "/" + "/".join(str(step) for step in item.path)
        velocity = abs(point.face_velocity_m_per_s)
        notes += radiator_notes(item.wire.radiator, section, velocity, f"{pointer}/radiator")
        notes += fan_notes(item.wire.fans, f"{pointer}/fans")
    return tuple(notes)
