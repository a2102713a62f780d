"""How far the speed of a fan or pump may be from that of its curve, and what then follows."""

from collections.abc import Iterable, Sequence

from loopmargin_wire.answer import Outcome
from loopmargin_wire.part import Fans, Pump

# Common practice, no source: where flow, head and power follow the speed of a pump.
PUMP_RANGE = (0.5, 1.1)
# Common practice, no source: below a third of the speed bearings and Reynolds number count.
FAN_RANGE = (0.3, 1.5)
# Beyond this times the speed of its curve a curve says nothing of a fan or pump.
FASTEST = 2.0
# Products of a factor, and the differences of a sweep, come out a little beside the speed meant.
FASTEST_ROUNDED = FASTEST * (1.0 + 1e-9)
TOO_FAST = f"a curve says nothing beyond {FASTEST:g} times the speed it was measured at"


def pump_ratio(pump: Pump) -> float:
    """Give the speed of a pump over the speed of its curve. [-]"""
    return pump.speed_rpm / pump.curve_speed_rpm


def fan_ratio(fans: Fans) -> float:
    """Give the speed of fans over the speed of their curve. [-]"""
    return fans.speed_rpm / fans.fan.curve_speed_rpm


def pumps_outside(pumps: Sequence[Pump]) -> bool:
    """Say whether any pump runs where its laws are no longer trusted without doubt."""
    low, high = PUMP_RANGE
    return any(not low <= pump_ratio(pump) <= high for pump in pumps)


def fans_outside(fans: Iterable[Fans]) -> bool:
    """Say whether any fans run where the fan laws are no longer trusted without doubt."""
    low, high = FAN_RANGE
    return any(not low <= fan_ratio(one) <= high for one in fans)


def too_fast(pumps: Iterable[Pump], fans: Iterable[Fans]) -> Outcome | None:
    """Give the outcome of a machine whose pumps or fans run far above their curves, if any do."""
    fast = [(pump.name, pump_ratio(pump)) for pump in pumps if pump_ratio(pump) > FASTEST_ROUNDED]
    fast += [(one.fan.name, fan_ratio(one)) for one in fans if fan_ratio(one) > FASTEST_ROUNDED]
    if not fast:
        return None
    named = "; ".join(f"{name} would run at {ratio:.2g} times it" for name, ratio in fast[:20])
    return Outcome(
        status="outside_validity",
        reason=f"{TOO_FAST}: {named}"[:2000],
        advice=("Give a curve that was measured nearer to this speed, or lower the speed.",),
    )
