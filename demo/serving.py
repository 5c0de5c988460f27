"""The demo's server: its data folder, its port, and the line that says Ready.

Runs in the project's own Python. Decides: that Ready is printed only when the server has answered,
that one demo holds a data folder at a time, and that Ctrl-C and a stop from outside end with 0.
"""

import contextlib
import json
import shutil
import signal
import socket
import sys
import threading
import time
import urllib.error
import urllib.request
import webbrowser
from collections.abc import Iterator
from pathlib import Path

import uvicorn

from server.store.in_use import FILE_NAME, InUse, only_one_on

HOST = "127.0.0.1"
READY_WITHIN_S = 60.0


def run_demo(data: Path, app: Path, *, port: int, open_browser: bool, fresh: bool) -> None:
    """Fills the shop and serves it until somebody stops it. Ends the process with a message if it cannot."""
    signal.signal(signal.SIGTERM, signal.default_int_handler)
    with contextlib.suppress(KeyboardInterrupt), contextlib.closing(listen(port)) as listener, only_demo_on(data):
        if fresh:
            empty(data)
        print(f"  data of the demo: {data}", flush=True)
        serve(data, app, listener, open_browser)
    print("\nStopped. The data stay where they are.", flush=True)


def serve(data: Path, app: Path, listener: socket.socket, open_browser: bool) -> None:
    """Fills the record and answers on the socket until stopped."""
    from demo.fill import fill
    from server.access.access import Access
    from server.app import create_app

    fill(data)
    origin = f"http://{HOST}:{listener.getsockname()[1]}"
    server = uvicorn.Server(uvicorn.Config(
        create_app(data, app, access=Access(addresses=(origin,))), log_level="warning", timeout_graceful_shutdown=5,
        proxy_headers=False, server_header=False,
    ))
    threading.Thread(target=announce, args=(server, f"{origin}/", open_browser), daemon=True).start()
    server.run(sockets=[listener])
    if not server.started:
        sys.exit("The server did not start; what it said stands above.")


def listen(port: int) -> socket.socket:
    """A listening socket on loopback, or a message that names a way out."""
    listener = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listener.bind((HOST, port))
    except OSError as problem:
        listener.close()
        sys.exit(
            f"Port {port} on {HOST} cannot be used ({problem.strerror}). Another demo may be running on it: stop"
            f" that one with Ctrl-C, or give this one another port, for example: python3 demo --port {port % 65535 + 1}"
        )
    return listener


@contextlib.contextmanager
def only_demo_on(data: Path) -> Iterator[None]:
    """Holds the data folder for this demo alone."""
    try:
        with only_one_on(data):
            yield
    except InUse:
        sys.exit(f"Another demo is using {data}: stop that one with Ctrl-C first.")


def empty(data: Path) -> None:
    """Removes everything in the folder but the mark that it is in use."""
    for inside in data.iterdir():
        if inside.name == FILE_NAME:
            continue
        shutil.rmtree(inside) if inside.is_dir() else inside.unlink()


def announce(server: uvicorn.Server, address: str, open_browser: bool) -> None:
    """Asks the server until it answers, then says Ready."""
    give_up = time.monotonic() + READY_WITHIN_S
    while time.monotonic() < give_up and not server.should_exit:
        if answers(address + "api/health"):
            print(f"Ready  {address}", flush=True)
            if open_browser:
                webbrowser.open(address)
            return
        time.sleep(0.05)
    if not server.should_exit:
        print(f"The server has not answered at {address}api/health for {READY_WITHIN_S:.0f} s.", flush=True)


def answers(url: str) -> bool:
    """Whether the server says it is well. Never through a proxy: it is on this machine."""
    opener = urllib.request.build_opener(urllib.request.ProxyHandler({}))
    try:
        with opener.open(url, timeout=5) as answer:
            return json.load(answer).get("ok") is True
    except (OSError, ValueError, urllib.error.URLError):
        return False
