"""The layer that holds callers to their quotas, by key or, if asked for, by address.

Each request is charged one unit here, before anything is done for it. A calculation is
charged the rest of its estimated work once the question is known (`Allowance.work`). How
many requests a caller has open at once is bounded in each process.
"""

import math
from collections.abc import Callable
from typing import NamedTuple

from litestar.types import Scope

from loopmargin_service.http.keys import Key
from loopmargin_service.http.passing import Passing
from loopmargin_service.http.problems import QUOTA, ProblemError
from loopmargin_service.http.quota import US, Meter, Policy, Standing, policy, units_of
from loopmargin_service.http.reply import Header

NAME = "work"
MOST_CALLERS = 10_000


class Limits(NamedTuple):
    """Limits of a caller whose key has none of its own."""

    units_per_min: int
    burst_units: int
    at_once: int


class Account:
    """One caller: the limits it has and the requests that are open for it."""

    __slots__ = ("at_once", "caller", "key", "open", "policy", "told")

    def __init__(self, caller: str, key: Key | None, limits: Limits) -> None:
        own = limits if key is None else _own(key, limits)
        self.caller = caller
        self.key = key
        self.policy: Policy = policy(own.units_per_min, own.burst_units)
        self.at_once = own.at_once
        self.open = 0
        self.told: Header = (b"ratelimit-policy", _policy_field(own).encode())


class Allowance:
    """What the caller of one request may still ask for, as the last charge left it."""

    __slots__ = ("_account", "_meter", "_refused", "_standing")

    def __init__(
        self, account: Account, meter: Meter, refused: Callable[[str], None] = lambda _limit: None
    ) -> None:
        self._account = account
        self._meter = meter
        self._refused = refused
        self._standing: Standing | None = None

    async def charge(self, units: int, again: int = 0) -> None:
        """Charge some units, or refuse; asking again will cost some more than these."""
        account = self._account
        self._judge(await self._meter.take(account.caller, account.policy, units), units, again)

    def charge_now(self, units: int) -> bool:
        """Charge some units, or refuse, where that needs no waiting; tell whether it was done."""
        account = self._account
        standing = self._meter.take_now(account.caller, account.policy, units)
        if standing is None:
            return False
        self._judge(standing, units, 0)
        return True

    def _judge(self, standing: Standing, units: int, again: int) -> None:
        self._standing = standing
        if standing.admitted:
            return
        self._refused("rate")
        seconds = _seconds(standing.wait_us + again * self._account.policy.interval_us)
        detail = (
            f"This costs {units} units and {standing.left_units} are left; "
            f"ask again in {seconds} s, or ask for less."
        )
        raise _refusal(detail, seconds)

    async def work(self, work_s: float) -> None:
        """Charge a calculation what it costs beyond the unit that its request has cost."""
        units = units_of(work_s) - 1
        if units:
            await self.charge(units, again=1)

    def close(self) -> None:
        """Take note that the request is over."""
        self._account.open -= 1

    def headers(self) -> tuple[Header, ...]:
        """Tell the caller its quota and what is left of it."""
        told = self._account.told
        standing = self._standing
        if standing is None:
            return (told,)
        local = b";loopmargin-local" if standing.local else b""
        left, seconds = standing.left_units, _seconds(standing.wait_us)
        return (told, (b"ratelimit", b'"work";r=%d;t=%d%b' % (left, seconds, local)))


class Quotas:
    """Charges each request and says on each response what is left."""

    def __init__(
        self,
        meter: Meter,
        limits: Limits,
        address: Callable[[Scope], str],
        refused: Callable[[str], None] = lambda _limit: None,
    ) -> None:
        self._meter = meter
        self._limits = limits
        self._address = address
        self._refused = refused
        self._accounts: dict[str, Account] = {}

    def enter(self, one: Passing) -> None:
        """Open the account of one request's caller, or refuse when too many are open."""
        account = self._account(one)
        account.open += 1
        allowance = Allowance(account, self._meter, self._refused)
        one.allowance = one.state["allowance"] = allowance
        one.told = allowance.headers
        if account.open > account.at_once:
            self._refused("concurrency")
            detail = (
                f"{account.at_once} requests of this caller are open already; "
                "wait for one of them to be answered."
            )
            raise _refusal(detail, 1)

    def _account(self, one: Passing) -> Account:
        """Find the account of a caller; a key that was read anew has a new one."""
        key = one.key
        caller = f"key:{key.id}" if key is not None else f"address:{self._address(one.scope)}"
        account = self._accounts.get(caller)
        if account is None or account.key is not key:
            if len(self._accounts) >= MOST_CALLERS:
                self._accounts = {name: one for name, one in self._accounts.items() if one.open}
            account = self._accounts[caller] = Account(caller, key, self._limits)
        return account


def allowance_of(scope: Scope) -> Allowance | None:
    """Find what a caller may ask for, where callers have quotas."""
    found: Allowance | None = scope["state"].get("allowance")
    return found


def _own(key: Key, limits: Limits) -> Limits:
    return Limits(
        key.units_per_min or limits.units_per_min,
        key.burst_units or limits.burst_units,
        key.at_once or limits.at_once,
    )


def _policy_field(limits: Limits) -> str:
    """Write RateLimit-Policy (draft-ietf-httpapi-ratelimit-headers-11, section 3)."""
    return (
        f'"{NAME}";q={limits.units_per_min};w=60;loopmargin-burst={limits.burst_units}, '
        f'"at-once";q={limits.at_once};qu="concurrent-requests"'
    )


def _seconds(wait_us: int) -> int:
    return max(1, math.ceil(wait_us / US))


def _refusal(detail: str, seconds: int) -> ProblemError:
    return ProblemError(QUOTA, detail, headers=((b"retry-after", str(seconds).encode()),))
