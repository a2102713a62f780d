"""Addresses of callers: only a trusted proxy is believed, and only as far as it knows."""

from typing import Any

import pytest

from loopmargin_service.http.caller import address_reader, networks


def told(trusted: str, peer: str, *forwarded: str) -> str:
    """Read the address of a request."""
    headers = [(b"x-forwarded-for", one.encode()) for one in forwarded]
    scope: Any = {"client": (peer, 1), "headers": headers}
    return address_reader(networks(trusted))(scope)


@pytest.mark.parametrize(
    ("trusted", "peer", "forwarded", "address"),
    [
        ("", "192.0.2.1", (), "192.0.2.1"),
        ("", "192.0.2.1", ("198.51.100.7",), "192.0.2.1"),
        ("192.0.2.1", "192.0.2.1", (), "192.0.2.1"),
        ("192.0.2.1", "192.0.2.1", ("198.51.100.7",), "198.51.100.7"),
        ("192.0.2.0/24", "192.0.2.9", ("203.0.113.5, 198.51.100.7",), "198.51.100.7"),
        ("192.0.2.0/24", "192.0.2.9", ("203.0.113.5", "198.51.100.7"), "198.51.100.7"),
        ("192.0.2.0/24", "192.0.2.9", ("203.0.113.5, 192.0.2.4",), "203.0.113.5"),
        ("192.0.2.0/24", "192.0.2.9", ("192.0.2.4",), "192.0.2.4"),
        ("192.0.2.0/24", "192.0.2.9", ("203.0.113.5, rubbish",), "192.0.2.9"),
        ("192.0.2.0/24", "192.0.2.9", ("rubbish, 203.0.113.5",), "203.0.113.5"),
        ("192.0.2.0/24", "198.51.100.7", ("203.0.113.5",), "198.51.100.7"),
        ("2001:db8::1", "2001:db8::1", ("2001:db8:0:1::5",), "2001:db8:0:1::/64"),
        ("", "2001:db8:0:1::5", (), "2001:db8:0:1::/64"),
        ("", "::ffff:192.0.2.1", (), "192.0.2.1"),
    ],
)
def test_the_address(trusted: str, peer: str, forwarded: tuple[str, ...], address: str) -> None:
    """Documentation addresses of RFC 5737 and RFC 3849."""
    assert told(trusted, peer, *forwarded) == address


def test_who_has_no_address_shares_one() -> None:
    """A caller on a local socket."""
    scope: Any = {"client": None, "headers": []}

    assert address_reader(())(scope) == "unknown"
    assert told("", "testclient") == "unknown"


@pytest.mark.parametrize("listed", ["192.0.2.1/24", "proxy.example", "300.0.0.1"])
def test_what_is_no_network_is_refused(listed: str) -> None:
    """A host bit that is set is a typing error more often than not."""
    with pytest.raises(ValueError, match=r"host bits|does not appear"):
        networks(listed)
