"""How much work each caller may ask for: the arithmetic of a quota, and its two keepers.

A quota is a bucket of units that fills at a steady rate up to the burst (the generic cell
rate algorithm: one number a caller, the moment at which its bucket is full again). A
charge that the bucket never holds beside the unit of its request is let in when all else
is there, and leaves a debt, so that large questions stay possible and the rate still
holds in the long run.

One keeper is the server that replicas share, exact over all of them. The other is this
process, with its share of the quota, for as long as there is no such server. What the
first lets in is noted in the second, so that losing the first gives nobody a fresh start.
"""

import math
import time
from collections import OrderedDict
from collections.abc import Callable
from functools import lru_cache
from typing import NamedTuple, Protocol

from loopmargin_service.http.store import Unavailable

# Work of one unit on one core. [s]
UNIT_S = 0.01
US = 1_000_000
# A bucket full again later than this is not believed: the clock of its keeper was turned back.
LONGEST_DEBT_US = 3600 * US
MOST_CALLERS = 10_000
# One for a request and one for what it asks.
LEAST_BURST = 2
# Units are fetched ahead from the shared keeper by this part of the bucket, and kept so long.
AHEAD = 32
AHEAD_US = US


class Policy(NamedTuple):
    """A quota: the time in which one unit comes back, and how many units the bucket holds."""

    interval_us: int
    burst_units: int

    @property
    def full_us(self) -> int:
        """Time in which an empty bucket fills."""
        return self.interval_us * self.burst_units


@lru_cache(4096)
def share(quota: Policy, replicas: int) -> Policy:
    """Part of one replica when nothing is shared; together they are about the whole."""
    burst = max(LEAST_BURST, quota.burst_units // replicas)
    return Policy(quota.interval_us * replicas, burst)


class Standing(NamedTuple):
    """How a charge ended: let in or not, whole units left, and the time until there is more.

    After a refusal that is the time until the same charge would be let in. `ahead_units` are
    charged beyond what was asked for, and `local` says that the quota was not shared.
    """

    admitted: bool
    left_units: int
    wait_us: int
    ahead_units: int = 0
    local: bool = False


class SharedQuota(Protocol):
    """What several replicas share."""

    async def take(
        self, caller: str, policy: Policy, units: int, ahead: int, held: int = 0
    ) -> Standing:
        """Charge a caller, or raise Unavailable; units held were charged ahead and count first."""


def policy(units_per_min: int, burst_units: int) -> Policy:
    """Make a quota; the time of a unit is rounded up, so that the rate is never exceeded."""
    return Policy(math.ceil(60 * US / units_per_min), burst_units)


def units_of(work_s: float) -> int:
    """Units that a calculation costs, at least one."""
    return max(1, math.ceil(work_s / UNIT_S))


def charge(
    full_at_us: int, now_us: int, quota: Policy, units: int, held: int = 0
) -> tuple[int, Standing]:
    """Charge a bucket that is full again at a moment; give the new moment and how it ended.

    Units held were charged before and are still unspent: they pay first.
    """
    interval_us, burst = quota
    whole_us = interval_us * burst
    # A bucket is short of being full by what was charged and has not come back yet.
    short_us = full_at_us - now_us
    if short_us <= 0:
        short_us = 0
    elif short_us > whole_us + LONGEST_DEBT_US:
        short_us = whole_us + LONGEST_DEBT_US
    room_us = whole_us - short_us
    needed_us = ((units if units < burst else burst - 1) - held) * interval_us
    if room_us < needed_us:
        left = held + (room_us // interval_us if room_us > 0 else 0)
        return now_us + short_us, Standing(False, left, needed_us - room_us)  # noqa: FBT003 - first field
    charged_us = (units - held) * interval_us
    room_us -= charged_us
    left = room_us // interval_us if room_us > 0 else 0
    wait_us = (left + 1) * interval_us - room_us
    return now_us + short_us + charged_us, Standing(True, left, wait_us)  # noqa: FBT003 - first field


class LocalQuota:
    """The buckets of this process; those not used for longest are forgotten first."""

    def __init__(self, clock_us: Callable[[], int]) -> None:
        self._clock_us = clock_us
        self._full_at_us: OrderedDict[str, int] = OrderedDict()

    def take(self, caller: str, quota: Policy, units: int, held: int = 0) -> Standing:
        """Charge a caller."""
        now_us = self._clock_us()
        moment, standing = charge(self._full_at_us.get(caller, 0), now_us, quota, units, held)
        self._keep(caller, moment)
        return standing

    def note(self, caller: str, quota: Policy, units: int) -> None:
        """Take what was charged elsewhere, down to an empty bucket and not below."""
        now_us = self._clock_us()
        moment = max(self._full_at_us.get(caller, 0), now_us) + units * quota.interval_us
        self._keep(caller, min(moment, now_us + quota.full_us))

    def _keep(self, caller: str, full_at_us: int) -> None:
        self._full_at_us[caller] = full_at_us
        self._full_at_us.move_to_end(caller)
        if len(self._full_at_us) > MOST_CALLERS:
            self._full_at_us.popitem(last=False)


class _Ahead(NamedTuple):
    units: int
    left_units: int
    until_us: int


class Meter:
    """Charges callers where the quota is shared, and here where that cannot be."""

    def __init__(
        self,
        shared: SharedQuota | None = None,
        replicas: int = 1,
        clock_us: Callable[[], int] = lambda: time.monotonic_ns() // 1000,
    ) -> None:
        self._shared = shared
        self._replicas = replicas
        self._clock_us = clock_us
        self._local = LocalQuota(clock_us)
        self._ahead: dict[str, _Ahead] = {}

    async def take(self, caller: str, quota: Policy, units: int) -> Standing:
        """Charge a caller; the fewest possible words are changed with the shared keeper."""
        standing = self.take_now(caller, quota, units)
        if standing is None:
            standing = self._noted(await self._fetched(caller, quota, units), caller, quota, units)
        return standing

    def take_now(self, caller: str, quota: Policy, units: int) -> Standing | None:
        """Charge a caller where the shared keeper need not be asked; nothing where it must."""
        if self._shared is not None:
            ahead = self._from_ahead(caller, quota, units)
            return None if ahead is None else self._noted(ahead, caller, quota, units)
        if self._replicas == 1:
            return self._local.take(caller, quota, units)
        part = share(quota, self._replicas)
        return self._local.take(caller, part, units)._replace(local=True)

    def _noted(self, standing: Standing, caller: str, quota: Policy, units: int) -> Standing:
        """Note here what the shared keeper has let in."""
        if standing.admitted and not standing.local:
            self._local.note(caller, share(quota, self._replicas), units)
        return standing

    def _from_ahead(self, caller: str, quota: Policy, units: int) -> Standing | None:
        """Spend what was fetched ahead, if it is enough and not stale."""
        held = self._ahead.get(caller)
        if held is None or held.units < units or held.until_us < self._clock_us():
            return None
        rest = held.units - units
        self._ahead[caller] = _Ahead(rest, held.left_units, held.until_us)
        return Standing(True, held.left_units + rest, quota.interval_us)  # noqa: FBT003 - first field

    async def _fetched(self, caller: str, quota: Policy, units: int) -> Standing:
        assert self._shared is not None  # noqa: S101 - the only caller has looked
        ahead = quota.burst_units // AHEAD
        held = self._ahead.pop(caller, None)
        if held is not None and held.until_us < self._clock_us():
            held = None
        in_hand = 0 if held is None else held.units
        try:
            standing = await self._shared.take(caller, quota, units, ahead, in_hand)
        except Unavailable:
            part = share(quota, self._replicas)
            return self._local.take(caller, part, units)._replace(local=True)
        if not standing.admitted and held is not None:
            self._hold(caller, held)
        elif standing.ahead_units:
            until_us = self._clock_us() + AHEAD_US
            self._hold(caller, _Ahead(standing.ahead_units, standing.left_units, until_us))
        return standing

    def _hold(self, caller: str, more: _Ahead) -> None:
        """Keep what was charged ahead, with what another request fetched meanwhile."""
        held = self._ahead.get(caller)
        rest = held.units if held is not None and held.until_us >= self._clock_us() else 0
        if len(self._ahead) >= MOST_CALLERS:
            self._ahead.clear()
        self._ahead[caller] = more._replace(units=rest + more.units)
