"""What `python3 demo` does: the arguments, the data folder, and the two starts.

Standard library only up to the point where the project's own Python has taken over.
"""

import argparse
from pathlib import Path

from demo.environment import ROOT, enter

DATA = ROOT / "demo" / "data"
APP = ROOT / "pwa" / "dist"
DEFAULT_PORT = 8471
"""Always the same: a browser keeps what it holds under the address, port and all."""


def parse(arguments: list[str]) -> argparse.Namespace:
    """The command line."""
    parser = argparse.ArgumentParser(prog="python3 demo", description="An invented shop on this machine only.")
    parser.add_argument("--port", type=_port, default=DEFAULT_PORT, help=f"port on 127.0.0.1 ({DEFAULT_PORT})")
    parser.add_argument("--no-open", action="store_true", help="do not open a browser")
    parser.add_argument("--fresh", action="store_true", help="empty the demo's data folder first")
    return parser.parse_args(arguments)


def _port(text: str) -> int:
    if not text.isdecimal() or not 1 <= int(text) <= 65535:
        raise argparse.ArgumentTypeError(f"'{text}' is no port: a whole number from 1 to 65535, for example 8471")
    return int(text)


def main(entry: Path, arguments: list[str]) -> None:
    """Runs the demo until Ctrl-C."""
    options = parse(arguments)
    enter(entry, with_tests=False)
    from demo.serving import run_demo

    run_demo(DATA, APP, port=options.port, open_browser=not options.no_open, fresh=options.fresh)
