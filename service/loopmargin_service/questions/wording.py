"""Sources, notes and cautions that several answers share."""

from loopmargin_wire.answer import Basis, Note

WATER = Basis(
    quantity="water properties",
    law="liquid water at 0.1 MPa",
    source="IAPWS SR6-08(2011)",
)
GLYCOL = Basis(
    quantity="glycol mix properties",
    law="polynomials in temperature and mass fraction",
    source="A. Melinder, Properties of Secondary Working Fluids for Indirect Systems, IIR, 2010",
)
FRICTION = Basis(
    quantity="tube friction",
    law="one formula for all Reynolds numbers",
    source="S. W. Churchill, Chem. Eng. 84(24), 1977",
)
FITTINGS = Basis(
    quantity="bends and adapters",
    law="smooth bend, sharp mitre, sudden contraction and expansion",
    source="D. C. Rennels and H. M. Hudson, Pipe Flow, Wiley, 2012",
)
TEES = Basis(
    quantity="tees",
    law="three-constant method",
    source="P. Silverberg and R. Darby, Chem. Eng. 106(7), 1999",
)
COUPLINGS = Basis(quantity="quick disconnects", law="flow coefficient Kv", source="IEC 60534-1")
NETWORK = Basis(
    quantity="flows of the network",
    law="global gradient method",
    source="E. Todini and S. Pilati, 1988; EPANET 2.2 User Manual, chapter 12, US EPA",
)
AFFINITY = Basis(
    quantity="pump and fan speed",
    law="flow as speed, head as speed squared, power as speed cubed",
    source="affinity laws; EPANET 2.2 User Manual, chapter 12, US EPA",
)
AIR_CARRYING = Basis(
    quantity="velocity that carries air down",
    law="pocket clearing in a vertical tube",
    source="P. E. Wisner, F. N. Mohsen and N. Kouwen, J. Hydraul. Div. ASCE 101, 1975",
)
EFFECTIVENESS = Basis(
    quantity="radiator effectiveness",
    law="cross-flow with both streams unmixed, exact series",
    source="W. M. Kays and A. L. London, Compact Heat Exchangers",
)
LOUVRED_HEAT = Basis(
    quantity="louvred core, heat",
    law="Colburn factor; low velocities by the second source",
    source="Y.-J. Chang and C.-C. Wang, IJHMT 40(3), 1997; Y.-G. Park and A. M. Jacobi, "
    "J. Heat Transfer 131, 2009",
)
LOUVRED_DROP = Basis(
    quantity="louvred core, air pressure drop",
    law="Fanning friction factor",
    source="Y.-J. Chang et al., IJHMT 43, 2000, amended in IJHMT 49, 2006",
)
RATED = Basis(
    quantity="rated radiator at other flows",
    law="UA split into an air and a coolant part, each by a power of its mass flow",
    source="exponents from Chang and Wang 1997 and laminar flow in flat tubes; split is "
    "common practice, no source",
)
AIR = Basis(
    quantity="air density",
    law="ideal gas at the pressure of the standard atmosphere",
    source="ISO 2533",
)
GRILLES = Basis(
    quantity="grilles and meshes",
    law="loss coefficient by free area",
    source="R. D. Blevins, Applied Fluid Dynamics Handbook, 1984",
)
BALANCE = Basis(
    quantity="temperatures",
    law="first law with mixing at the junctions, one heat capacity for the loop",
    source="energy conservation",
)
BLOCKS = Basis(
    quantity="part temperatures",
    law="resistance between part and entering coolant, against flow",
    source="as given in the question",
)

AIR_FLOW_NOTE = Note(
    code="air_flow_uncertain",
    text="The air flow of an installed fan is the largest uncertainty of the whole "
    "calculation: 20 % standard uncertainty is assumed until it is measured.",
)
NO_LOOP_LOSS_NOTE = Note(
    code="tube_heat_loss_neglected",
    text="Heat lost by tubes, reservoir and walls is left out; it is about 3 % of a radiator "
    "and on the safe side.",
)
BEST_ESTIMATE_NOTE = Note(
    code="cases_at_best_estimate",
    text="Every case stands at best estimate: `uncertainty` of the machine is not used here, and "
    "`holds` states no chance. Ask with `draws` for intervals and chances of every case, "
    "`steady-state` about a case with its `uncertainty` for the chance of each margin, or "
    "`solve-for` for a setting at which each is met with the confidence asked for.",
    pointer="/draws",
)
TRANSITIONAL_NOTE = (
    "flows between laminar and turbulent (Reynolds number 2000 to 4000), where friction is "
    "known to 30 % only"
)

FILL_CAUTION = (
    "Fill, bleed and leak-test with the computer unpowered and unplugged; run only the pump, "
    "from a separate isolated 12 V source, never from a supply that still feeds a board."
)
SPILL_CAUTION = (
    "If liquid reaches electronics, cut the power at the wall first and let everything dry for a "
    "day or two before power returns; a coolant sold as non-conductive does not stay so."
)
LIQUID_CAUTIONS = (
    FILL_CAUTION,
    SPILL_CAUTION,
    (
        "Never run a pump dry; keep air in the reservoir as a cushion for expansion and stay "
        "below the pressure rating of the weakest part."
    ),
    (
        "Glycol and inhibitors are harmful when swallowed; follow the safety data sheet and local "
        "rules for disposal."
    ),
)
ESTIMATE_CAUTION = (
    "This is an estimate, not an approval: prove it on the bench under load before you promise it."
)
FAN_CAUTION = "Keep fingers, leads and hair clear of running fans."
