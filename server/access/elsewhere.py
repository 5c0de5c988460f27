"""The app of another address of this same shop: what its browser lets it ask, and what it is let ask here.

A browser knows an app by the address it came from. When the shop's PC has another address, the app that came from
the old one is still on its phone, with what it has not sent. Decides: that it may try the shop's other addresses
and no others (the policy it was served with names them), and that this server answers across addresses to apps that
it handed out itself, at exactly these addresses, over HTTPS; a token is asked of them as of everybody.
"""

from collections.abc import Iterable, Sequence

SECURE = "https://"
FORMER_TRIED = 3
"""Of addresses the shop had before the latest few: a router gives the same ones again."""

MAY_SEND = b"authorization, content-type, upload-offset"
MAY_READ = b"upload-offset"
METHODS = b"GET, HEAD, POST, PUT"
ASKED_AGAIN_AFTER_S = b"600"

Headers = list[tuple[bytes, bytes]]


def others_to_try(addresses: Sequence[str], former: Iterable[str]) -> tuple[str, ...]:
    """Where an app of any of these addresses may look for the shop; none where it does not speak HTTPS."""
    known = [*addresses, *list(former)[:FORMER_TRIED]]
    return tuple(dict.fromkeys(each for each in known if each.startswith(SECURE) and can_be_in_policy(each)))


def can_be_in_policy(origin: str) -> bool:
    """Whether a content security policy can name it: its grammar has no IPv6 address (CSP 3, 2.3.1)."""
    return "[" not in origin


def is_own_app(origin: str, addresses: Iterable[str], former: Iterable[str]) -> bool:
    """Whether an app of this origin was handed out by this shop."""
    return origin.startswith(SECURE) and (origin in addresses or origin in former)


def answered_across(origin: str) -> Headers:
    """What lets the browser show an answer to the app of `origin`."""
    return [
        (b"access-control-allow-origin", origin.encode("latin-1")), (b"access-control-expose-headers", MAY_READ),
        (b"vary", b"Origin"),
    ]


def asked_before() -> Headers:
    """What a browser is told when it asks beforehand whether its app may ask (the Fetch standard's preflight)."""
    return [
        (b"access-control-allow-methods", METHODS), (b"access-control-allow-headers", MAY_SEND),
        (b"access-control-max-age", ASKED_AGAIN_AFTER_S), (b"content-length", b"0"),
    ]
