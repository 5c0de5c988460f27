"""`python3 tests load boards`: how long a board file takes to read and what it needs, beside another reader.

    python3 tests load boards [--repeats 5] [--fuzz SECONDS]

1. the largest real board, where real boards are (else an invented one of the same size): read, joined, every net known,
   one socket traced; each time in a process of its own, so that its memory is its own;
2. the same file by sexpdata, in turn with ours;
3. an invented board of 30 MB, with progress;
4. with --fuzz: atheris for so many seconds, if it is installed (pip install atheris; it has wheels for few Pythons).

This machine's speed wanders, so the ratio counts more than the seconds. The exit code is 1 when a bar is missed.
"""

import argparse
import importlib.util
import json
import os
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from tests.load._bars import Bars
from tests.support.invented_board import kicad
from tests.support.real_boards import KICAD, REAL_BOARDS

REPEATS = 5
LARGEST_S, LARGEST_MB = 2.0, 200.0
BIG_BYTES = 30_000_000
SEGMENT = '  (segment (start {0}.125 20.5) (end {0}.25 21.75) (width 0.15) (layer "F.Cu") (net 1) (tstamp {0:08x}))\n'

CHILD = """
import json, resource, sys, time
from pathlib import Path
raw = Path(sys.argv[2]).read_bytes()
told = []
if sys.argv[1] == "ours":
    from server.boards.door import OpenBoard
    start = time.perf_counter()
    board = OpenBoard.of(raw, None, told.append)
    sockets = board.summary().sockets
    if sockets:
        board.traced(sockets[0].ref)
    found = len(board.nets.parts)
else:
    import sexpdata
    start = time.perf_counter()
    found = len(sexpdata.loads(raw.decode()))
spent = time.perf_counter() - start
peak_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
print(json.dumps({"s": spent, "mb": peak_mb, "found": found, "told": len(told)}))
"""


def main(arguments: Sequence[str]) -> int:
    """Prints the table; 0 when every bar holds."""
    parser = argparse.ArgumentParser(prog="python3 tests load boards", description=__doc__)
    parser.add_argument("--repeats", type=int, default=REPEATS)
    parser.add_argument("--fuzz", type=int, default=0, metavar="SECONDS")
    options = parser.parse_args(arguments)
    bars = Bars()
    busy = os.getloadavg()[0]
    print(f"{os.cpu_count()} cores, load {busy:.1f}{': others are at work' if busy > 1 else ''}", flush=True)
    with tempfile.TemporaryDirectory() as folder:
        _largest(Path(folder), options.repeats, bars)
        _big(Path(folder), bars)
    if options.fuzz:
        _fuzz(options.fuzz, bars)
    return bars.verdict()


def _child(reader: str, path: Path) -> dict[str, Any]:
    done = subprocess.run(
        [sys.executable, "-c", CHILD, reader, str(path)], capture_output=True, text=True, check=True,
        cwd=Path(__file__).parents[2],
    )
    return json.loads(done.stdout)


def _padded(path: Path, size: int) -> Path:
    """The invented board with as many tracks as make it so large."""
    text = kicad()
    end = text.rindex(")")
    tracks = (size - len(text)) // len(SEGMENT.format(100_000))
    body = "".join(SEGMENT.format(at) for at in range(100_000, 100_000 + tracks))
    path.write_text(f"{text[:end]}{body})\n", encoding="utf-8")
    return path


def _largest(folder: Path, repeats: int, bars: Bars) -> None:
    if REAL_BOARDS is not None:
        path = max((REAL_BOARDS / name for name in KICAD.values()), key=lambda one: one.stat().st_size)
    else:
        path = _padded(folder / "largest.kicad_pcb", 4_500_000)
    ours, theirs = [], []
    for _ in range(repeats):
        ours.append(_child("ours", path))
        theirs.append(_child("sexpdata", path))
    our_s, their_s = (statistics.median(one["s"] for one in of) for of in (ours, theirs))
    peak_mb = max(one["mb"] for one in ours)
    print(
        f"{path.name}, {path.stat().st_size / 1e6:.2f} MB: ours {our_s:.2f} s and {peak_mb:.0f} MB with one socket"
        f" traced, sexpdata {their_s:.2f} s and {max(one['mb'] for one in theirs):.0f} MB for the brackets alone",
        flush=True,
    )
    bars.at_most("the largest board", our_s, LARGEST_S, "s")
    bars.at_most("its memory", peak_mb, LARGEST_MB, "MB")
    bars.at_least("faster than sexpdata", their_s / our_s, 1, "times")


def _big(folder: Path, bars: Bars) -> None:
    done = _child("ours", _padded(folder / "big.kicad_pcb", BIG_BYTES))
    print(f"an invented board of {BIG_BYTES / 1e6:.0f} MB: {done['s']:.1f} s, {done['mb']:.0f} MB,"
          f" progress told {done['told']} times", flush=True)
    bars.at_least("progress of a big board", done["told"], 10, "times")


FUZZ = """
import sys
import atheris
with atheris.instrument_imports(include=["server.boards"]):
    from server.boards.door import OpenBoard
    from server.boards.pin_list import columns_from
from server.problems import Refusal
COLUMNS = columns_from("ref=1,pin=2,net=3")

def one(raw):
    try:
        board = OpenBoard.of(raw, COLUMNS)
        for socket in board.summary().sockets[:1]:
            board.traced(socket.ref)
    except Refusal as refusal:
        assert refusal.problem.where and refusal.problem.expected, refusal.problem

atheris.Setup(sys.argv, one)
atheris.Fuzz()
"""


def _fuzz(seconds: int, bars: Bars) -> None:
    if importlib.util.find_spec("atheris") is None:
        print("atheris is not installed: pip install atheris (it has wheels for few Pythons)")
        bars.at_least("atheris", 0, 1, "installed")
        return
    from tests.support.invented_board import ipc356, ipc2581, pin_list

    with tempfile.TemporaryDirectory() as folder:
        corpus = Path(folder) / "corpus"
        corpus.mkdir()
        by_kicad = Path(__file__).parents[1] / "vectors" / "boards" / "kicad9_revision_c_mm.xml"
        seeds = [kicad(), kicad(20171114), kicad(20260206), ipc356(), ipc2581().decode(), pin_list(),
                 by_kicad.read_text(encoding="utf-8")]
        for at, text in enumerate(seeds):
            (corpus / f"seed-{at}").write_text(text, encoding="utf-8")
        script = Path(folder) / "fuzz.py"
        script.write_text(FUZZ, encoding="utf-8")
        start = time.monotonic()
        done = subprocess.run(
            [sys.executable, str(script), str(corpus), f"-max_total_time={seconds}", "-timeout=10",
            "-rss_limit_mb=1024",
             "-max_len=80000"],
            capture_output=True, text=True, check=False, cwd=folder,
            env={**os.environ, "PYTHONPATH": os.pathsep.join([str(Path(__file__).parents[2]), *sys.path])},
        )
        runs = [line for line in done.stderr.splitlines() if line.startswith("Done ")]
        print(f"atheris, {time.monotonic() - start:.0f} s: {runs[-1] if runs else done.stderr[-2000:]}")
        bars.at_most("atheris ended with", done.returncode, 0, "as its exit code")


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
