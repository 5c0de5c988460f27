"""Sockets that listen, and uvicorn on them."""

import contextlib
import errno
import socket
import ssl
from collections.abc import Iterator
from typing import Any

import uvicorn

from server.network.lingering import Lingering
from server.network.trouble import Trouble

GRACE_S = 5
"""What is being answered when the server is told to end has this long."""

LOOPBACK = "127.0.0.1"


def listen(port: int, *, on_loopback: bool) -> socket.socket:
    """A listening socket, on this machine only or on all of its addresses, IPv4 and IPv6.

    Raises:
        Trouble: the port cannot be had.
    """
    heard = _listen(port, on_loopback=on_loopback)
    # Those that are accepted have it from this one; asyncio sees to it only for sockets that it made itself. Without it
    # the end of an answer waits until the other side has acknowledged its beginning, some 40 ms on a kept connection
    # (RFC 896; RFC 1122 4.2.3.2 for what an acknowledgement may wait for).
    heard.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
    return heard


def _listen(port: int, *, on_loopback: bool) -> socket.socket:
    try:
        if on_loopback:
            return socket.create_server((LOOPBACK, port))
        if socket.has_dualstack_ipv6():
            return socket.create_server(("", port), family=socket.AF_INET6, dualstack_ipv6=True)
        return socket.create_server(("", port))
    except (OSError, OverflowError) as error:
        if getattr(error, "errno", None) == errno.EADDRINUSE:
            raise Trouble(
                f"Port {port} is already in use.",
                f"Another server may be running: secondprobe doctor --port {port} says more. Stop that one; another"
                " port would make another app of it on every phone.",
            ) from error
        what = f"Port {port} cannot be used: {getattr(error, 'strerror', None) or error}."
        raise Trouble(what, "Give one from 1024 to 65535, for example --port 8765") from error


class Listener(uvicorn.Server):
    """One of several servers in one loop: signals are for whoever runs them all."""

    @contextlib.contextmanager
    def capture_signals(self) -> Iterator[None]:
        yield


def listener(app: Any, context: ssl.SSLContext | None, *, lifespan: bool, behind_proxy: bool = False) -> Listener:
    """A server for an ASGI application, with TLS when there is a context."""
    config = uvicorn.Config(
        Lingering(app), log_level="warning", server_header=False, ws="none", timeout_graceful_shutdown=GRACE_S,
        access_log=False, lifespan="on" if lifespan else "off",
        # an address in a header is somebody's only where a proxy stands before this server
        proxy_headers=behind_proxy, forwarded_allow_ips=LOOPBACK,
    )
    config.load()
    config.ssl = context
    return Listener(config)
