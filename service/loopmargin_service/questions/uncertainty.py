"""What is uncertain in each question, and on what ground it is believed to be so much.

The numbers stand on the wire as defaults of `loopmargin_wire.uncertainty`; here stands where
each comes from, and what widens it outside the range of its law.
"""

import math
from functools import lru_cache

import msgspec

from loopmargin_service.questions.draws import Cause
from loopmargin_wire.uncertainty import Drawing

PRACTICE = "common practice, no source"
STATED = "stated in the question"

SOURCES = {
    "heat": f"catalogue power taken as sustained power, 5 to 10 %; {PRACTICE}",
    "rest": f"board, memory and drives, 20 %; {PRACTICE}",
    "coolant_flow": f"a flow that is stated is taken as measured; {PRACTICE}",
    "stated_air_flow": f"a flow that is stated is taken as measured; {PRACTICE}",
    "air_flow": f"fan curve, grille, core and installation together, 15 to 25 %; {PRACTICE}",
    "installation": "half-width 0.15 about 0.85, rectangular (JCGM 100:2008, 4.3.7); the range "
    f"is {PRACTICE}",
    "core_law": "Y.-J. Chang and C.-C. Wang, IJHMT 40(3), 1997: 89 % of the Colburn factors "
    f"within 15 %; with the coolant side 15 % of UA, {PRACTICE}",
    "rated_law": "power of the mass flow, 7 % up to twice the rated air flow and as much again "
    f"for each further doubling; {PRACTICE}",
    "pump_speed": "ANSI/HI 14.6 below 10 kW, 10 % of flow and 8 % of head with k = 2, taken as a "
    "factor on speed (from memory)",
    "bore": f"drawn tubes, 1.5 %; {PRACTICE}",
    "part_drop": f"makers' curves with the test conditions stated, 5 to 8 %; {PRACTICE}",
    "fitting_law": f"fittings of 8 to 13 mm bore, 20 %; {PRACTICE}",
    "friction_law": f"straight tubes, 3 % (S. W. Churchill 1977 between its limits); {PRACTICE}",
    "transitional_friction_law": f"15 % from Reynolds number 2000 to 4000; {PRACTICE}",
    "air_carrying_law": "P. E. Wisner, F. N. Mohsen and N. Kouwen, 1975, tested in pipes wider "
    f"than these; 15 % is {PRACTICE}",
    "suction_head_m": f"heights, filter and vapour pressure; {PRACTICE}",
    "block_law": f"resistance over flow of measured blocks, 15 %; {PRACTICE}",
    "interface_resistance": f"0.01 to 0.03 K/W about 0.02, 40 %; {PRACTICE}",
    "loss_law": f"one point of efficiency about 90 %; {PRACTICE}",
    "device_db": "ISO 3744 grade 2 has 1.5 dB (from memory); 2 dB with the spread of devices is "
    f"{PRACTICE}",
    "fan_speed_law_db": f"50 to 60 dB for a tenfold speed; {PRACTICE}",
    "pump_speed_law_db": "30 to 50 dB for a tenfold speed, rectangular (JCGM 100:2008, 4.3.7); the "
    f"range is {PRACTICE}",
    "installation_db": f"radiator, grille, case and mounting, 3 dB with k = 2; {PRACTICE}",
    "heat_stored": f"masses and volumes from an inventory, 10 %; {PRACTICE}",
    "settling_law": f"time constants are known to 20 % in all; {PRACTICE}",
    "limit_law": f"times after a loss are known to 30 % in all; {PRACTICE}",
}
UNITS = {"_db": "dB", "_m": "m"}

FAN_AFFINITY = "affinity law of fans"
PUMP_AFFINITY = "affinity law of pumps"
# Only outside the range that the laws are trusted in; relative, on the flow or the speed.
BEYOND_FAN_RANGE = 0.10
BEYOND_PUMP_RANGE = 0.05
# Colburn factors below the Reynolds numbers of the correlation are known to 20 %, not 15 %.
BEYOND_CORE_RANGE = 4.0 / 3.0


def cause(asked: Drawing, field: str, name: str = "", *, widened: float = 1.0) -> Cause:
    """Give the cause behind a field of the uncertainty asked for; *widened* multiplies it."""
    value = float(getattr(asked, field))
    ending = next((end for end in UNITS if field.endswith(end)), "")
    return Cause(
        name=name or field.removesuffix(ending).replace("_", " "),
        uncertainty=value * widened,
        source=SOURCES[field] if value == _defaults(type(asked))[field] else STATED,
        law="_law" in field,
        unit=UNITS.get(ending, "1"),
    )


def affinity(name: str, uncertainty: float, *, outside: bool) -> Cause:
    """Give the doubt about an affinity law: none inside the range that it is trusted in."""
    return Cause(name, uncertainty if outside else 0.0, f"outside its range; {PRACTICE}", law=True)


def rated_widening(air_flow_ratio: float) -> float:
    """Widen a rated point's law with every doubling or halving of its air flow beyond one."""
    return max(1.0, abs(math.log2(max(air_flow_ratio, 1e-6))))


@lru_cache(maxsize=32)
def _defaults(kind: type[Drawing]) -> dict[str, object]:
    """Give the defaults of a kind of uncertainty."""
    return {field.name: field.default for field in msgspec.structs.fields(kind)}
