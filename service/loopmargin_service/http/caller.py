"""Who is calling, by address: the peer, or what a proxy that is trusted says of it.

`X-Forwarded-For` is read from its end, past the proxies that are trusted; whatever stands
before the first other address was written by strangers and is not believed.
"""

from collections.abc import Callable
from functools import lru_cache
from ipaddress import IPv4Network, IPv6Address, IPv6Network, ip_address, ip_network

from litestar.types import Scope

Networks = tuple[IPv4Network | IPv6Network, ...]
UNKNOWN = "unknown"
# One subscriber commonly has all addresses below such a prefix.
IPV6_PREFIX = 64
_CACHED = 4096


def networks(listed: str) -> Networks:
    """Read addresses and networks separated by spaces or commas."""
    return tuple(ip_network(part) for part in listed.replace(",", " ").split())


def address_reader(trusted: Networks) -> Callable[[Scope], str]:
    """Make the function that tells the address a request comes from."""

    @lru_cache(_CACHED)
    def is_trusted(address: str) -> bool:
        try:
            return any(ip_address(address) in network for network in trusted)
        except ValueError:
            return False

    def address(scope: Scope) -> str:
        peer = scope.get("client")
        found = peer[0] if peer else UNKNOWN
        if not trusted or not is_trusted(found):
            return _grouped(found)
        for claimed in reversed(_forwarded(scope)):
            if not _readable(claimed):
                break
            found = claimed
            if not is_trusted(claimed):
                break
        return _grouped(found)

    return address


def _forwarded(scope: Scope) -> list[str]:
    values = [value for name, value in scope["headers"] if name == b"x-forwarded-for"]
    return [part.strip() for part in b",".join(values).decode("latin-1").split(",")]


@lru_cache(_CACHED)
def _readable(address: str) -> bool:
    try:
        ip_address(address)
    except ValueError:
        return False
    return True


@lru_cache(_CACHED)
def _grouped(address: str) -> str:
    """Write an address the one way it is counted under."""
    if not _readable(address):
        return UNKNOWN
    read = ip_address(address)
    if isinstance(read, IPv6Address):
        mapped = read.ipv4_mapped
        return str(mapped or IPv6Network((read, IPV6_PREFIX), strict=False))
    return str(read)
