"""`warm-up`: times to settle, and times that are left when pumps or fans fail."""

from collections.abc import Iterator
from contextlib import contextmanager

import msgspec

from loopmargin_service.questions import (
    heat_inventory,
    running,
    steady_state,
    sweep_plan,
    time_draws,
)
from loopmargin_service.questions.edition import EDITION
from loopmargin_service.questions.heat_inventory import Contents
from loopmargin_service.questions.losses import FOLLOWED, losses
from loopmargin_service.questions.margins import failing, fails, margin
from loopmargin_service.questions.refusals import Refusal
from loopmargin_service.questions.spreads import support_notes
from loopmargin_service.questions.time_draws import DrawnTimes, all_lost
from loopmargin_wire.answer import Basis, Margin, Note, Outcome
from loopmargin_wire.steady_state import SteadyStateAnswer
from loopmargin_wire.warm_up import LimitTime, WarmUpAnswer, WarmUpQuestion, WarmUpState

STORES = Basis(
    quantity="temperatures over time",
    law="lumped heat capacities joined by the coolant, flows as at equilibrium, exact in time",
    source="energy conservation; C. Moler and C. Van Loan, SIAM Review 45(1), 2003",
)
CAPACITIES = Basis(
    quantity="heat capacity of metals and plastics",
    law="mass times specific heat capacity",
    source="J. Carvill, Mechanical Engineer's Data Handbook, 1993, table 3.4.4; R. J. Crawford, "
    "Plastics Engineering, table 1.8",
)
LOSS_CAUTION = (
    "Never stop a pump or a fan of a loaded machine to try this out unless the limits that shut "
    "it down are armed and were seen to work."
)
STAGNANT_CAUTION = (
    "Coolant that stands in a heated block can boil and burst a tube: shut down by the "
    "temperature of the part and by the pump's own speed signal, not by that of the coolant."
)
NOTES = (
    Note(
        code="room_warms_slower",
        text="The room, the case and what stands in it go on warming for 10 to 60 minutes "
        "(common practice, no source): read temperatures as differences to the intake air.",
    ),
    Note(
        code="flows_as_settled",
        text="Flows are those at equilibrium from the first moment on; cold coolant is stickier, "
        "so the first minutes are a little slower than shown.",
    ),
    Note(
        code="pumps_lost_adiabatic",
        text="Without pumps each block keeps all its heat; thermosiphon and conduction along "
        "tubes are left out, on the safe side. The part itself stores nothing.",
    ),
    Note(
        code="fans_lost_standing",
        text="A radiator without fans has its still conductance, whatever other fans push "
        "through it, and a case without moving air sheds 5 W/K (common practice, no source). The "
        "fans of one place stop together: of several side by side, those that run blow back "
        "through one that stands, which is not followed here.",
    ),
)
TIMES_UNCERTAIN = Note(
    code="times_uncertain",
    text="Every time is drawn about the best estimate: it goes with the heat stored, and with the "
    "doubt about lumped heat capacities and steady flows. Equilibrium temperatures are not drawn "
    "here; ask steady-state for theirs.",
)


def answer(question: WarmUpQuestion) -> WarmUpAnswer:
    """Follow the machine from cold and through every loss, and judge the times."""
    with _inside_machine():
        built = sweep_plan.build(question.machine)
    held = heat_inventory.contents(question, built)
    machine = msgspec.structs.replace(question.machine, uncertainty=None)
    with _inside_machine():
        settled = steady_state.answer(machine)
    if settled.state is None:
        return _answer(question, settled, held, (settled.outcome, None))
    moving = running.run(question, built, held, settled.state)
    if moving is None:
        return _answer(question, settled, held, (_unsettled(), None))
    begun = running.start(moving)
    drawn = time_draws.draw(question)
    found = losses(moving)
    state = WarmUpState(
        coolant_volume_ml=held.coolant_ml,
        heat_capacity_j_per_k=running.heat_capacity(moving),
        time_constant_s=begun.time_constant_s,
        coolant=begun.coolant,
        components=begun.components,
        reading=begun.reading,
        start=begun.trace,
        losses=found,
        simulation=time_draws.described(question, drawn, (begun, found)),
    )
    return _answer(question, settled, held, (None, state), drawn)


@contextmanager
def _inside_machine() -> Iterator[None]:
    """Let faults of the machine point into the field that it stands in."""
    try:
        yield
    except Refusal as refusal:
        faults = (fault._replace(path=("machine", *fault.path)) for fault in refusal.faults)
        raise Refusal(*faults) from None


def _unsettled() -> Outcome:
    """Say that a machine without some of its fans could not be computed."""
    return Outcome(
        status="not_converged",
        reason="the air of this machine does not settle once some of its fans stand",
        advice=("Check for extreme sizes, such as a tiny opening or a very strong case fan.",),
    )


def _margins(
    question: WarmUpQuestion, state: WarmUpState, drawn: DrawnTimes | None
) -> Iterator[Margin]:
    """Judge the planned run, and every loss against the time to shut down."""
    confidence = question.machine.confidence
    if question.run_s is not None:
        # A day and more is compared as a day, which is longer than any run that may be asked.
        needed = running.DAY if state.reading.run_s is None else state.reading.run_s
        left = None if drawn is None else question.run_s - needed * drawn.settling
        yield margin("run before a reading", needed, question.run_s, "s", confidence, left)
    for criterion, limit, followed_s in _soonest(state):
        time = followed_s if limit.to_limit_s is None else limit.to_limit_s
        left = None if drawn is None else time * drawn.to_limit - question.shutdown_s
        yield margin(criterion, question.shutdown_s, time, "s", confidence, left)


def _soonest(state: WarmUpState) -> Iterator[tuple[str, LimitTime, float]]:
    """Give the soonest limits of coolant and parts in every loss, and how long it was followed."""
    for loss, name in zip(state.losses, all_lost(state.losses), strict=True):
        for kind, limited in (("coolant", "coolant limit"), ("component", "part limit")):
            for limit in [item for item in loss.limits if item.limit == kind][:1]:
                yield f"{limited} without {name}", limit, loss.followed_s


def _bound_notes(question: WarmUpQuestion, state: WarmUpState) -> Iterator[Note]:
    """Note the times that are longer than was followed, so that a margin has only a bound."""
    unreached = [criterion for criterion, limit, _ in _soonest(state) if limit.to_limit_s is None]
    if unreached:
        yield Note(
            code="limit_not_reached",
            text=f"Not reached in the {FOLLOWED:g} s that a loss is followed: "
            f"{'; '.join(unreached)[:1500]}. The capacity of these margins is that time and means "
            "at least so much.",
            pointer="/shutdown_s",
        )
    if question.run_s is not None and state.reading.run_s is None:
        yield Note(
            code="reading_not_settled",
            text=f"No reading settles in the {running.DAY:g} s that a start is followed; the "
            "demand of its margin is that time and means at least so much.",
            pointer="/run_s",
        )


def _outcome(margins: tuple[Margin, ...]) -> Outcome:
    """Say what fails and what would help."""
    short = failing(margins)
    if not short:
        return Outcome(status="solved")
    return Outcome(
        status="solved",
        reason=fails(short),
        advice=(
            (
                "To have more time after a loss, shut down on the pump's and the fans' own speed "
                "signals, lower the power, or put more coolant and metal into the loop. For a "
                "steadier reading, run longer."
            ),
        ),
    )


def _answer(
    question: WarmUpQuestion,
    settled: SteadyStateAnswer,
    held: Contents,
    found: tuple[Outcome | None, WarmUpState | None],
    drawn: DrawnTimes | None = None,
) -> WarmUpAnswer:
    """Put the answer together."""
    outcome, state = found
    margins = () if state is None else tuple(_margins(question, state, drawn))
    moved = (
        Note(code=note.code, text=note.text, pointer=note.pointer and f"/machine{note.pointer}")
        for note in settled.notes
        if note.code != "not_drawn"
    )
    doubts = () if state is None else support_notes(state.simulation)
    bounds = () if state is None else _bound_notes(question, state)
    own = heat_inventory.inventory_notes(question, held)
    return WarmUpAnswer(
        edition=EDITION,
        outcome=outcome or _outcome(margins),
        margins=margins,
        basis=(STORES, CAPACITIES, *settled.basis),
        notes=(TIMES_UNCERTAIN, *NOTES, *own, *bounds, *doubts, *moved),
        cautions=(LOSS_CAUTION, STAGNANT_CAUTION, *settled.cautions),
        question=question,
        state=state,
    )
