"""Standard uncertainties that a margin is judged with when nothing better is known.

All but heads and levels are relative to the quantity named, and all are common practice with
no single source; those with a published scatter name it. They are combined as independent
(JCGM 100:2008, 5.1).
"""

import math

# Fan curve, grille and core together; by far the largest of all.
INSTALLED_AIR_FLOW = 0.20
# A flow that the asker states is taken as measured.
STATED_AIR_FLOW = 0.05
# Chang and Wang 1997 hold 89 % of their cores within 15 %; most of it saturates away.
CORE_CONDUCTANCE = 0.10
# Extrapolation of a rated point by a factor of two in air flow.
RATED_CONDUCTANCE = 0.07
# Fittings 20 %, makers' curves 6 to 10 %, bores 1.5 %, halved by the square root.
LOOP_FLOW = 0.10
LOOP_HEAD = 0.15
PUMP_HEAD = 0.05
# Bubbles in tubes below 16 mm are outside the tests behind the law.
AIR_CARRYING_VELOCITY = 0.15
SUCTION_HEAD_M = 0.3
BLOCK_RESISTANCE = 0.15
INTERFACE_RESISTANCE = 0.40
HEAT = 0.05
# Levels, absolute: one device against another, the speed law, the installation. [dB]
DEVICE_LEVEL_DB = 2.0
SPEED_LAW_DB = 1.0
INSTALLATION_DB = 1.5


def combined(*parts: float) -> float:
    """Root of the sum of squares of independent absolute uncertainties."""
    return math.hypot(*parts)


def sharing_chance(surplus: float, deviations: float, otherwise: float) -> float:
    """Uncertainty of a surplus that makes it as many standard deviations as another view has.

    Two views of one comparison, such as a conductance and the temperature that follows
    from it, must not disagree about the chance that it holds.
    """
    if deviations == 0.0 or surplus == 0.0:
        return otherwise
    return abs(surplus / deviations)
