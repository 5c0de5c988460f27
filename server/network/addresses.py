"""Which addresses this machine has on the shop's network, and by which names it can be called there."""

import re
import socket
from collections.abc import Callable, Iterable
from ipaddress import IPv4Address, IPv6Address, ip_network

import ifaddr

from server.access.guard import address_of, in_shop

Address = IPv4Address | IPv6Address

NOT_A_NETWORK = re.compile(r"^(lo\d*|docker|br-|veth|virbr|vmnet|vboxnet|cni|flannel)")
"""Interfaces behind which there is no phone: the machine itself and what runs inside it."""

UNIQUE_LOCAL = ip_network("fd00::/8")  # RFC 4193: of IPv6 the only addresses that stay the same and stay inside
SOMEWHERE = ("192.0.2.1", 9)
"""An address of documentation (RFC 5737). Nothing is sent there: asked is only which way it would go."""


def own_addresses() -> list[Address]:
    """Addresses at which a phone on the same network reaches this machine, the one of the usual way out first.

    Link-local ones (169.254.x.x) only where there is no other: they are what a machine takes when nobody
    gave it one, and they change.
    """
    found: list[Address] = []
    for adapter in ifaddr.get_adapters():
        if NOT_A_NETWORK.match(adapter.nice_name):
            continue
        for each in adapter.ips:
            address = address_of(each.ip if isinstance(each.ip, str) else each.ip[0])
            if address is not None and _is_of_use(address):
                found.append(address)
    lasting = [address for address in found if not address.is_link_local]
    return sorted(set(lasting or found), key=_order(_way_out()))


def own_names() -> list[str]:
    """`NAME.local` of this machine, where its name can stand in an address; found by phones that ask the network."""
    name = socket.gethostname().split(".")[0].lower()
    return [f"{name}.local"] if re.fullmatch(r"[a-z0-9]([a-z0-9-]{0,61}[a-z0-9])?", name) else []


def as_host(address: Address | str) -> str:
    """As it stands in a URL."""
    return f"[{address}]" if isinstance(address, IPv6Address) else str(address)


def origins(scheme: str, hosts: Iterable[Address | str], port: int) -> tuple[str, ...]:
    """The addresses under which a browser knows the app."""
    usual = {"https": 443, "http": 80}[scheme]
    return tuple(f"{scheme}://{as_host(host)}" + ("" if port == usual else f":{port}") for host in hosts)


def _is_of_use(address: Address) -> bool:
    if address.is_loopback or not in_shop(address):
        return False
    return isinstance(address, IPv4Address) or address in UNIQUE_LOCAL


def _way_out() -> str | None:
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(SOMEWHERE)
        except OSError:
            return None  # no network, or none that leads further
        return probe.getsockname()[0]


def _order(first: str | None) -> Callable[[Address], tuple[bool, int, int]]:
    return lambda address: (str(address) != first, address.version, int(address))
