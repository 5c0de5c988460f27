"""The first two questions to whoever asks: from where, and by which name.

It stands around the whole application, so that no route, file or error is answered outside it.
A page from elsewhere can make a browser here send requests under a name of its own (its name then points
at a private address): so the name that was asked for must be one of this server's too. Who it is that
asks is the third question, `pairing`'s.
"""

from ipaddress import IPv4Address, IPv6Address, ip_address, ip_network
from typing import Any, NamedTuple
from urllib.parse import urlsplit

from server.problems import shown
from shared_models.change import Problem

LOOPBACK_NAMES = frozenset({"localhost", "127.0.0.1", "::1"})

SHOP_NETWORKS = tuple(map(ip_network, (
    "10.0.0.0/8", "172.16.0.0/12", "192.168.0.0/16", "127.0.0.0/8", "169.254.0.0/16", "fc00::/7", "fe80::/10",
    "::1/128",
)))
"""Private, loopback and link-local addresses: RFC 1918, RFC 1122 3.2.1.3, RFC 3927, RFC 4193, RFC 4291 2.4."""


class Doors(NamedTuple):
    """Who may knock. By default this machine only; else every address of a shop's network, by these names.

    `any_name`: a proxy before this server answers for the name.
    """

    only_this_machine: bool = True
    names: frozenset[str] = frozenset()
    any_name: bool = False


def refusal_for(scope: Any, doors: Doors) -> Problem | None:
    """Why this request is not let near, or None. `scope` is an ASGI http scope."""
    client = scope.get("client")
    address = address_of(client[0]) if client else None
    if address is None or not _may_knock(address, doors):
        whom = "its own machine" if doors.only_this_machine else "its own network"
        return Problem(
            code="not_admitted", message=f"This server answers {whom} only.", where="the sender's address",
            given=shown(client[0] if client else None),
            expected="a loopback address" if doors.only_this_machine else "a private address",
            example="127.0.0.1" if doors.only_this_machine else "192.168.1.20",
        )
    host = next((value.decode("latin-1") for name, value in scope["headers"] if name == b"host"), "")
    if not _is_own_name(name_of(host), doors):
        example = "localhost" if doors.only_this_machine else next(iter(sorted(doors.names)), "192.168.1.20")
        whose = "its own machine" if doors.only_this_machine else "its own"
        return Problem(
            code="not_admitted", message=f"This server is called by a name of {whose} only.",
            where="the header Host", given=shown(host),
            expected="a loopback name" if doors.only_this_machine else "an address or a name of this server",
            example=example,
        )
    return None


def address_of(text: str) -> IPv4Address | IPv6Address | None:
    """The address; one of IPv4 that is written as IPv6 (RFC 4291 2.5.5.2) as what it is; None: it is none."""
    try:
        address = ip_address(text.partition("%")[0])
    except ValueError:
        return None
    return getattr(address, "ipv4_mapped", None) or address


def in_shop(address: IPv4Address | IPv6Address) -> bool:
    """Whether the address can only be one of the network this machine is in."""
    return any(address in network for network in SHOP_NETWORKS)


def name_of(host: str) -> str | None:
    """The name in a Host header, without its port."""
    try:
        return urlsplit(f"//{host}").hostname
    except ValueError:
        return None


def _may_knock(address: IPv4Address | IPv6Address, doors: Doors) -> bool:
    return address.is_loopback if doors.only_this_machine else in_shop(address)


def _is_own_name(name: str | None, doors: Doors) -> bool:
    if name is None:
        return False
    if doors.any_name or name in LOOPBACK_NAMES:
        return True
    if doors.only_this_machine:
        return False
    address = address_of(name)
    # an address cannot be made to point elsewhere, so any of a shop's network is this server's own here
    return name in doors.names or (address is not None and in_shop(address))
