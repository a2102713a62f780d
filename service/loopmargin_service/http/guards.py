"""The layers that decide who may ask, and how much, put around the rest."""

from pathlib import Path
from typing import TYPE_CHECKING

from litestar.types import ASGIApp

from loopmargin_service.http.access import Access
from loopmargin_service.http.caller import address_reader, networks
from loopmargin_service.http.keys import Keyring
from loopmargin_service.http.meters import Meters
from loopmargin_service.http.origins import Origins
from loopmargin_service.http.quota import Meter, SharedQuota
from loopmargin_service.http.quotas import Limits, Quotas
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
        self._settings = settings
        self._keyring = keyring
        self._link = link
        self._meters = meters

    def around(self, inner: ASGIApp) -> ASGIApp:
        """Put the layers around an application, innermost first."""
        app = inner
        if self._keyring is not None or self._settings.quota_by_address:
            app = self._quotas(app)
        if self._keyring is not None:
            app = Access(app, self._keyring, self._meters.unauthorised.add)
        return Origins(app, self._settings.origins) if self._settings.origins else app

    def _quotas(self, app: ASGIApp) -> Quotas:
        told = self._settings
        limits = Limits(told.quota_units_per_min, told.quota_burst_units, told.quota_at_once)
        meter = Meter(shared_quota(self._link), told.replicas)
        address = address_reader(networks(told.trusted_proxies))
        return Quotas(app, meter, limits, address, self._meters.rate_limited.add)


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
