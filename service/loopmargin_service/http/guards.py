"""The layers that decide who may ask, and how much, in their order."""

from pathlib import Path
from typing import TYPE_CHECKING

from loopmargin_service.http.access import Access, is_open
from loopmargin_service.http.caller import address_reader, networks
from loopmargin_service.http.keys import Keyring
from loopmargin_service.http.meters import Meters
from loopmargin_service.http.origins import Origins
from loopmargin_service.http.passing import Passing
from loopmargin_service.http.quota import Meter, SharedQuota
from loopmargin_service.http.quotas import Limits, Quotas
from loopmargin_service.http.reply import Reply
from loopmargin_service.http.settings import Settings

if TYPE_CHECKING:
    from loopmargin_service.http.redis_link import RedisLink


class Guards:
    """What the settings want guarded; a layer that nobody asked for is not there."""

    def __init__(
        self,
        settings: Settings,
        keyring: Keyring | None,
        link: "RedisLink | None",
        meters: Meters,
    ) -> None:
        self._origins = Origins(settings.origins) if settings.origins else None
        self._access = Access(keyring, meters.unauthorised.add) if keyring is not None else None
        wanted = keyring is not None or settings.quota_by_address
        self._quotas = quotas(settings, link, meters) if wanted else None

    def enter(self, one: Passing) -> Reply | None:
        """Let one request in, or refuse it; answer what a browser asks beforehand."""
        reply = None if self._origins is None else self._origins.enter(one)
        if reply is None and self._quotas is not None and not is_open(one.path):
            if self._access is not None:
                self._access.enter(one)
            self._quotas.enter(one)
        return reply


def quotas(settings: Settings, link: "RedisLink | None", meters: Meters) -> Quotas:
    """Hold callers to the limits that are set."""
    limits = Limits(
        settings.quota_units_per_min, settings.quota_burst_units, settings.quota_at_once
    )
    meter = Meter(shared_quota(link), settings.replicas)
    address = address_reader(networks(settings.trusted_proxies))
    return Quotas(meter, limits, address, meters.rate_limited.add)


def keyring_of(settings: Settings, meters: Meters) -> Keyring | None:
    """Read the file of keys, if there is one."""
    if not settings.keys_file:
        return None
    return Keyring(Path(settings.keys_file), failed=meters.key_reload_failures.inc)


def shared_quota(link: "RedisLink | None") -> SharedQuota | None:
    """Keep quotas where replicas share what they know, if they do."""
    if link is None:
        return None
    from loopmargin_service.http.redis_quota import RedisQuota  # noqa: PLC0415 - as the link

    return RedisQuota(link)
