"""Where the electrical numbers come from, and what to take care of around them."""

from collections.abc import Iterator
from typing import Final

from loopmargin_service.questions import wording
from loopmargin_wire.answer import Basis
from loopmargin_wire.supply_headroom import (
    AddInCardLimit,
    EfficiencyTier,
    LegacyFlat,
    LegacyLowerColumn,
    PublishedStaircase,
    SupplyHeadroomQuestion,
)

_PRACTICE: Final = "Common practice, no source"

_STAIRCASE = Basis(
    quantity="allowance of the supply",
    law="Staircase over the length of the peak, on the safe side between its rows",
    source="Document 613768, ATX12VO Power Supply Design Guide, rev. 2.01 (2023), Table 3-3",
)
_LEGACY = Basis(
    quantity="allowance of the supply",
    law="A flat factor or the lower published column, for a supply without a statement",
    source=_PRACTICE,
)
_NONE = Basis(
    quantity="allowance of the supply",
    law="None: no peak may exceed the rating",
    source="As asked",
)
_CARD_LIMIT = Basis(
    quantity="peaks of add-in cards",
    law="3 up to 100 us, 1 - 0.5 log10(T / 1 s) up to 1 s, 1 beyond",
    source="PCI Express Card Electromechanical Specification 5.0 as reported (a document for "
    "members); the straight line between the reported points is from memory",
)
_PROCESSOR = Basis(
    quantity="peak of the processor",
    law="Peak power up to 10 ms, sustained power beyond; all peaks at once",
    source="Document 336521, ATX 3.0 Desktop Power Supply Design Guide, rev. 2.0 (2022), Table 2-1",
)
_DERATE = Basis(
    quantity="derating",
    law="Straight line above the rated inlet temperature, which falls by 1 K for each 300 m "
    "above 900 m; altitude acts nowhere else",
    source="Slope: common practice, no source. Altitude: ASHRAE TC 9.9, classes A1 and A2, "
    "from memory",
)
_MARGIN = Basis(
    quantity="rating needed",
    law="Largest window demand over its allowance, times one plus the margin fraction; the "
    "margin stands in place of an uncertainty there, so the rating has no chance",
    source=_PRACTICE,
)
_UNCERTAINTY = Basis(
    quantity="chances",
    law="Independent relative uncertainties of the loads in quadrature, normal distribution; "
    "5 % for catalogue powers and 20 % for the rest unless given",
    source="JCGM 100:2008 for the rule; the default values are common practice, no source",
)
_TIER_115 = Basis(
    quantity="efficiency",
    law="Polynomial of the loss through the least efficiencies of the tier, good to 1.5 points",
    source="Public 80-percent programme, 115 V internal set, as public pages give it; silver "
    "at full load from memory",
)
_TIER_230 = Basis(
    quantity="efficiency",
    law=_TIER_115.law,
    source="Public 80-percent programme, 230 V internal set, from memory",
)
_MEASURED = Basis(
    quantity="efficiency",
    law="Monotone cubic pieces through the losses of the points given",
    source="F. N. Fritsch and J. Butland (1984), doi:10.1137/0905021",
)
_CONNECTOR = Basis(
    quantity="connector limits",
    law="Mean power and RMS current over any second both within limit; pins share a current "
    "as parallel resistances, in RMS against the rating of one contact",
    source="Document 336521, rev. 2.01 (2023), Table 3-5 and chapter 5; 7 A for a contact of the "
    "card's eight-pin connector is from memory",
)
_WIRE = Basis(
    quantity="voltage drop",
    law="Solid annealed copper by gauge, out and back, contacts included; strands are up to "
    "5 % worse. The limit of 3 % of 12 V is common practice",
    source="ASTM B258-02; IEC 60028:1925",
)

CAUTIONS: Final = (
    (
        "These are estimates, not an approval. Outlets, breakers and fixed wiring are a matter for "
        "the local code and a licensed electrician; in some countries a load that lasts for hours "
        "may take only 80 % of what its circuit is rated for."
    ),
    (
        "Never open a power supply: it holds a dangerous charge long after it was unplugged, and "
        "nothing inside is for the user to mend."
    ),
    (
        "Switch off at the supply and pull the mains plug before you touch the loop or the wiring; "
        "while it is plugged in, the standby output is live."
    ),
    wording.FILL_CAUTION,
    wording.SPILL_CAUTION,
    (
        "Push high-current plugs in until the latch clicks, keep the first 35 mm of cable "
        "straight, look again after moving the machine, and replace whatever has changed colour."
    ),
    (
        "Detachable cables of one supply may be wired differently from another's that fits the "
        "same socket; a wrong one destroys parts."
    ),
    (
        "Never bridge a fuse, an earth or a protective trip. A supply that trips again is to be "
        "taken out of use until the cause is known."
    ),
    "Clamp meters belong on insulated leads; do not probe inside a plug under load.",
)
HIGH_ALTITUDE_CAUTION: Final = (
    "Above 2000 m read the altitude on the label of the supply: its insulation is certified up "
    "to that height and no further, whatever its load."
)
INSULATION_ALTITUDE_M: Final = 2000.0


def basis(question: SupplyHeadroomQuestion) -> tuple[Basis, ...]:
    """List the laws and sources that the answer to this question rests on."""
    return tuple(_basis(question))


def _basis(question: SupplyHeadroomQuestion) -> Iterator[Basis]:
    match question.supply.allowance:
        case PublishedStaircase():
            yield _STAIRCASE
        case LegacyFlat() | LegacyLowerColumn():
            yield _LEGACY
        case _:
            yield _NONE
    if any(isinstance(card.excursion, AddInCardLimit) for card in question.cards):
        yield _CARD_LIMIT
    yield from (_PROCESSOR, _DERATE, _MARGIN, _UNCERTAINTY)
    efficiency = question.supply.efficiency
    if not isinstance(efficiency, EfficiencyTier):
        yield _MEASURED
    else:
        yield _TIER_115 if efficiency.certified_at == "115_v" else _TIER_230
    if question.connectors:
        yield from (_CONNECTOR, _WIRE)


def cautions(question: SupplyHeadroomQuestion) -> tuple[str, ...]:
    """List what to take care of; altitude adds one."""
    high = question.altitude_m > INSULATION_ALTITUDE_M
    return (*CAUTIONS, HIGH_ALTITUDE_CAUTION) if high else CAUTIONS
