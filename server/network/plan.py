"""What `secondprobe serve` was told: which of five ways to serve, where, under which names."""

from pathlib import Path
from typing import Literal, NamedTuple
from urllib.parse import urlsplit

from server.network.trouble import Trouble

Way = Literal["own_authority", "own_certificate", "behind_proxy", "http_only", "this_machine"]

DEFAULT_PORT = 8765
DEFAULT_PAGE_PORT = 8764


class Plan(NamedTuple):
    """How to serve.

    `own_authority`: HTTPS with the shop's own authority, and the plain page on `page_port`.
    `own_certificate`: HTTPS with `certificate` and `key`. `behind_proxy`: plain HTTP on this machine for a proxy
    that phones reach at `proxy_address`. `http_only`: plain HTTP on the network. `this_machine`: plain HTTP on
    loopback, whose browsers are paired without a code. `names` are further names of this machine.
    An owner's words are forgotten `forget_after_days` days after a job is gone; 0: never.
    """

    data_dir: Path
    app_dir: Path
    way: Way = "own_authority"
    port: int = DEFAULT_PORT
    page_port: int = DEFAULT_PAGE_PORT
    certificate: Path | None = None
    key: Path | None = None
    proxy_address: str = ""
    names: tuple[str, ...] = ()
    forget_after_days: int = 365

    @property
    def on_loopback(self) -> bool:
        """Whether only this machine may connect."""
        return self.way in ("behind_proxy", "this_machine")

    @property
    def scheme(self) -> Literal["https", "http"]:
        """What this server itself speaks."""
        return "https" if self.way in ("own_authority", "own_certificate") else "http"


def check_plan(plan: Plan) -> None:
    """Raises Trouble for what cannot be served, before anything is made or opened."""
    if (plan.certificate is None) != (plan.key is None):
        given, lacks = ("--tls-cert", "--tls-key") if plan.key is None else ("--tls-key", "--tls-cert")
        raise Trouble(
            f"{given} is given without {lacks}.",
            "Both: --tls-cert fullchain.pem --tls-key privkey.pem; or neither: then the shop's own authority signs.",
        )
    if plan.way == "behind_proxy":
        parts = urlsplit(plan.proxy_address)
        if parts.scheme != "https" or not parts.hostname or parts.path not in ("", "/"):
            raise Trouble(
                f"'{plan.proxy_address}' is not the address of a proxy.",
                "Say how phones reach it, for example: --behind-proxy https://probe.shop.lan",
            )
    for option, port in (("--port", plan.port), ("--page-port", plan.page_port)):
        if not 0 < port < 65_536:
            raise Trouble(f"{option} {port} is no port.", f"Give one from 1024 to 65535, for example {option} 8765")
    if plan.port == plan.page_port and plan.way == "own_authority":
        raise Trouble(
            f"--port and --page-port are both {plan.port}.",
            f"The plain page needs a port of its own, for example --page-port {plan.port - 1}",
        )
    for name in plan.names:
        _check_name(name, plan.way)


def _check_name(name: str, way: Way) -> None:
    from server.network.leaf import is_private_name  # imported late: a server for this machine needs no certificates

    labels = name.split(".")
    if not all(label and label.isascii() and label.replace("-", "").isalnum() for label in labels):
        raise Trouble(f"'{name}' is no name of a machine.", "Letters, digits, dashes and dots: --name probe.lan")
    if way == "own_authority" and not is_private_name(name):
        raise Trouble(
            f"The shop's authority signs private names only, and '{name}' is not one.",
            "Use a name that ends in .local, .lan, .internal or .home.arpa; or bring a certificate for this name with"
            " --tls-cert and --tls-key.",
        )
