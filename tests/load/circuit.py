"""`python3 tests load circuit`: the circuit solve beside the real circuit simulator, in one run.

    python3 tests load circuit [--repeats 7] [--no-phone]

1. 600 seeded circuits with faults, from parts to readings: ours, one ngspice run over all of them in one netlist, and
   one ngspice start per circuit (a sample of 40); and how far the readings are apart;
2. a socket of 60 contacts: 30 states each, 18 leaks each, what would not show, one low reading in ohms, one pair;
3. the same in the phone's Python under Node.

This machine's speed wanders between runs, so only ratios within one run mean anything. The exit code is 1 when a bar
is missed.
"""

import argparse
import json
import os
import random
import shutil
import statistics
import sys
import time
from collections.abc import Callable, Sequence
from pathlib import Path

from server.engine.circuit.readings import prepared, read
from tests.load._bars import Bars
from tests.support import circuit_timing
from tests.support.circuits import Asked, netlist, random_asked
from tests.support.ngspice import BATCH_OPTIONS, node_millivolts

CIRCUITS, STARTS, REPEATS, OUR_REPEATS = 600, 40, 7, 15
FASTER_THAN_A_START_EACH, FASTER_THAN_ONE_RUN = 100, 5
WITHIN_MV = 0.1
PYODIDE_TIMES = 4


def main(arguments: Sequence[str]) -> int:
    """Prints the table; 0 when every bar holds."""
    parser = argparse.ArgumentParser(prog="python3 tests load circuit", description=__doc__)
    parser.add_argument("--repeats", type=int, default=REPEATS)
    parser.add_argument("--no-phone", action="store_true")
    options = parser.parse_args(arguments)
    bars = Bars()
    busy = os.getloadavg()[0]
    print(f"{os.cpu_count()} cores, load {busy:.1f}{': others are at work' if busy > 1 else ''}", flush=True)

    ngspice = shutil.which("ngspice")
    if ngspice is None:
        print("ngspice is not installed: nothing to compare with")
        return 1
    _against_ngspice(ngspice, options.repeats, bars)
    core = json.loads(circuit_timing.median_ms(OUR_REPEATS))
    for what, ms in core.items():
        print(f"  {what}: {ms:.2f} ms")
    if not options.no_phone:
        _on_phone(core, bars)
    return bars.verdict()


def _against_ngspice(ngspice: str, repeats: int, bars: Bars) -> None:
    rng = random.Random(1971)
    asked = [random_asked(rng) for _ in range(CIRCUITS)]
    netlists = [netlist(one) for one in asked]

    def ours() -> list[float | None]:
        return [_reading(one) for one in asked]

    def one_run() -> list[float]:
        return node_millivolts(ngspice, netlists, options=BATCH_OPTIONS)

    # turn about, so that all three meet the same machine
    our_ms: list[float] = []
    run_ms: list[float] = []
    start_ms: list[float] = []
    for turn in range(repeats):
        run_ms.append(_once_ms(one_run))
        for each in netlists[turn:STARTS:repeats]:
            start_ms.append(_once_ms(lambda each=each: node_millivolts(ngspice, [each])))
        our_ms += [_once_ms(ours) for _ in range(2)]
    ours_all, run_all, start = (statistics.median(times) for times in (our_ms, run_ms, start_ms))
    apart = [abs(a - abs(b)) for a, b in zip(ours(), one_run(), strict=True) if a is not None]
    apart.sort()
    print(
        f"{CIRCUITS} circuits: ours {ours_all:.1f} ms, one ngspice run {run_all:.0f} ms, a start each "
        f"{start:.1f} ms x {CIRCUITS}; {len(apart)} readings apart by at most {apart[-1]:.4f} mV, median "
        f"{apart[len(apart) // 2]:.6f} mV",
        flush=True,
    )
    bars.at_least("faster than a start per circuit", start * CIRCUITS / ours_all, FASTER_THAN_A_START_EACH, "times")
    bars.at_least("faster than one run over the batch", run_all / ours_all, FASTER_THAN_ONE_RUN, "times")
    bars.at_most("largest difference to ngspice", apart[-1], WITHIN_MV, "mV")


def _reading(one: Asked) -> float | None:
    return read(prepared(one.circuit, one.celsius), one.meter, one.lead, one.states).drop_mv


def _once_ms(call: Callable[[], object]) -> float:
    start = time.perf_counter()
    call()
    return 1000 * (time.perf_counter() - start)


def _on_phone(core: dict[str, float], bars: Bars) -> None:
    from tests.support.pyodide_node import PyodideNode

    source = Path(circuit_timing.__file__).read_text(encoding="utf-8")
    with PyodideNode() as phone:
        there = json.loads(phone.run(f"{source}\nmedian_ms({OUR_REPEATS})"))
    for what, ms in there.items():
        print(f"  {what}, Node: {ms:.2f} ms ({ms / core[what]:.1f}x)")
    states = next(name for name in core if "states" in name)
    bars.at_most("ratio Node to CPython, every state", there[states] / core[states], PYODIDE_TIMES, "times")


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
