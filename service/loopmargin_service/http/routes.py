"""The table of questions: one row for each, from which paths, documents and pages follow."""

from collections.abc import Callable
from typing import Any, NamedTuple, get_args

from msgspec import Struct

from loopmargin_service.questions import (
    noise,
    pump_head,
    radiator_area,
    solve_for,
    steady_state,
    supply_headroom,
    sweep,
    warm_up,
    work,
)
from loopmargin_wire.answer import Answer, Question
from loopmargin_wire.noise import NoiseAnswer, NoiseQuestion
from loopmargin_wire.pump_head import PumpHeadAnswer, PumpHeadQuestion
from loopmargin_wire.radiator_area import RadiatorAreaAnswer, RadiatorAreaQuestion
from loopmargin_wire.solve_for import SolveForAnswer, SolveForQuestion
from loopmargin_wire.steady_state import SteadyStateAnswer, SteadyStateQuestion
from loopmargin_wire.supply_headroom import SupplyHeadroomAnswer, SupplyHeadroomQuestion
from loopmargin_wire.sweep import (
    PackedSweepRecord,
    SweepAnswer,
    SweepQuestion,
    SweepRecord,
)
from loopmargin_wire.warm_up import WarmUpAnswer, WarmUpQuestion


class Route(NamedTuple):
    """One question: its name on the path, its types, who answers it, and what to say of it.

    `work` estimates from a question how long its answer takes on one core. [s]
    An answer that has `records` can also be had as a stream of these, or of the `packed` ones.
    """

    name: str
    question: type[Question]
    answer: type[Answer]
    compute: Callable[[Any], Answer]
    tag: str
    summary: str
    assumes: str
    method: str
    validity: str
    work: Callable[[Any], float] = work.part
    records: tuple[type[Struct], ...] = ()
    packed: tuple[type[Struct], ...] = ()

    @property
    def path(self) -> str:
        """Path that the question is posted to."""
        return f"/v1/{self.name}"


ROUTES: tuple[Route, ...] = (
    Route(
        "radiator-area",
        RadiatorAreaQuestion,
        RadiatorAreaAnswer,
        radiator_area.answer,
        "cooling",
        "Radiator face that a heat load needs",
        assumes="Equilibrium. Every section gets the same air, straight from the room, spread "
        "evenly over its face. The coolant passes the sections one after the other.",
        method="Effectiveness and number of transfer units for cross-flow with both streams "
        "unmixed. A rated radiator is carried to other flows by powers of the mass flows; a core "
        "is computed from its louvred fins and flat tubes. Fans meet core and grille at the flow "
        "where their pressures agree.",
        validity="A rated radiator is trusted from half to twice its rated air flow, a core "
        "inside the ranges its correlations were measured in; `notes` say when a question is "
        "outside. The air flow is the largest uncertainty of all.",
    ),
    Route(
        "pump-head",
        PumpHeadQuestion,
        PumpHeadAnswer,
        pump_head.answer,
        "loop",
        "Flow at which pump and loop meet",
        assumes="A filled and bled loop at one coolant temperature, pumps at steady speeds, "
        "parts without wear or deposits.",
        method="All branches, series and parallel, are solved together as a network. Tube "
        "friction follows one formula for laminar, transitional and turbulent flow; fittings, "
        "blocks and radiators follow their own laws or points; pump curves are moved to other "
        "speeds by the affinity laws.",
        validity="Fittings that stand close together disturb each other, which is left out. "
        "Points of a part measured with another coolant are corrected for density and viscosity. "
        "Pump speeds far from that of the curve are noted.",
    ),
    Route(
        "supply-headroom",
        SupplyHeadroomQuestion,
        SupplyHeadroomAnswer,
        supply_headroom.answer,
        "supply",
        "Supply and plugs against every length of peak",
        assumes="All peaks at once, which is the worst case. Powers are at the supply's output.",
        method="The demand of each length of peak, from 100 microseconds to continuous, is "
        "compared with the published excursion allowance of the derated rating. Plugs are judged "
        "by mean and RMS current and by the share of the hottest contact.",
        validity="Statements on peaks hold for supplies declared to the published excursion "
        "test; others are trusted with what the question says. Efficiency from a tier is the "
        "least that the tier allows.",
    ),
    Route(
        "steady-state",
        SteadyStateQuestion,
        SteadyStateAnswer,
        steady_state.answer,
        "machine",
        "The whole machine at equilibrium",
        assumes="Equilibrium at steady powers and speeds, a filled and bled loop, one well-mixed "
        "air temperature inside the case.",
        method="Flow through the loop, air through case and radiators, heat between both, and the "
        "demand on the supply are solved together until they agree; each part follows the laws "
        "of its own question.",
        validity="That of the part questions. Air flow through the case is the largest "
        "uncertainty of all. Coolant or case air that would settle too hot is answered as "
        "outside validity, with advice. Every chance comes from machines drawn at random; "
        "without `uncertainty` there is none.",
        work=work.steady_state,
    ),
    Route(
        "sweep",
        SweepQuestion,
        SweepAnswer,
        sweep.answer,
        "machine",
        "The machine over a grid of settings",
        assumes="Each case is a machine of its own at equilibrium.",
        method="All cases of one build are solved together as one batch; a field that changes the "
        "machine itself builds it anew for each of its values.",
        validity="That of the whole machine, case by case: a case that is refused, does not "
        "settle or runs away is named so and spoils no other.",
        work=work.sweep,
        records=get_args(SweepRecord),
        packed=get_args(PackedSweepRecord),
    ),
    Route(
        "solve-for",
        SolveForQuestion,
        SolveForAnswer,
        solve_for.answer,
        "machine",
        "The setting at which every margin just holds",
        assumes="Each margin gets better or worse in one direction within an eighth of the range.",
        method="The range is looked at on a grid, more closely where neighbours fail for different "
        "reasons, and the step that holds the boundary is halved. With uncertainties the same "
        "machines are drawn at every value, and all margins, those of supply and noise too, count "
        "with their chances.",
        validity="That of the whole machine. `tried` shows every value that was looked at; a "
        "window of less than 1/32768 of the range may be missed.",
        work=work.solve_for,
    ),
    Route(
        "noise",
        NoiseQuestion,
        NoiseAnswer,
        noise.answer,
        "machine",
        "Level of fans and pumps at the listener",
        assumes="Sources that add in energy and radiate evenly into a free field, over a floor "
        "or between floor and wall; no reflections of the room, no tones.",
        method="The measured level of each device, weighted from its bands where these are "
        "given, is carried to its speed by an exponent with a floor that stays, to the density "
        "of the room's air, to the listener's distance, and lifted by an allowance for the "
        "installation; then all are added, and the background beside them.",
        validity="The speed law is trusted from 0.3 to 1.5 times the measured speed. Closer than "
        "about twice the machine's size the level is on the safe side. The allowance for the "
        "installation is the largest uncertainty.",
        work=work.noise,
    ),
    Route(
        "warm-up",
        WarmUpQuestion,
        WarmUpAnswer,
        warm_up.answer,
        "machine",
        "Times to settle, and times left without pump or fans",
        assumes="Cold start with everything running at once; losses begin at equilibrium. Flows "
        "and conductances stay as settled; coolant mixes at the junctions, without delay in the "
        "tubes. Without pumps a block keeps all its heat.",
        method="Each junction's coolant, each block and each radiator is one heat capacity. The "
        "linear system of their balances is solved exactly in time by the matrix exponential. "
        "Air flows are solved again for the fans that stand.",
        validity="Times to settle to 20 %, times to a limit to 30 %; state the coolant volume and "
        "the masses to do better. Room and case go on warming long after the loop has settled. "
        "Up to 32 blocks and radiators.",
        work=work.warm_up,
    ),
)
