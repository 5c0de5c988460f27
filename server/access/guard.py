"""The one guard: today it admits this machine only.

It stands around the whole application, so that no route, file or error is answered outside it.
A page from elsewhere can make a browser on this machine send requests here under a name of its own
(its name then points at 127.0.0.1): so the name that was asked for must be a loopback name too.
"""

from ipaddress import ip_address
from typing import Any
from urllib.parse import urlsplit

from server.problems import shown
from shared_models.change import Problem

LOOPBACK_NAMES = frozenset({"localhost", "127.0.0.1", "::1"})


def refusal_for(scope: Any) -> Problem | None:
    """Why this request is not admitted, or None. `scope` is an ASGI http or websocket scope."""
    client = scope.get("client")
    if client is None or not _is_loopback(client[0]):
        return Problem(
            code="not_admitted", message="This server answers its own machine only.", where="the sender's address",
            given=shown(client[0] if client else None), expected="a loopback address", example="127.0.0.1",
        )
    host = next((value.decode("latin-1") for name, value in scope["headers"] if name == b"host"), "")
    if _name_of(host) not in LOOPBACK_NAMES:
        return Problem(
            code="not_admitted", message="This server is called by a name of its own machine only.",
            where="the header Host", given=shown(host), expected="a loopback name", example="localhost",
        )
    return None


def _is_loopback(address: str) -> bool:
    try:
        return ip_address(address).is_loopback
    except ValueError:
        return False


def _name_of(host: str) -> str | None:
    try:
        return urlsplit(f"//{host}").hostname
    except ValueError:
        return None
