"""`python3 tests load opinion`: how long an opinion takes, as medians of 15 in one run.

    python3 tests load opinion [--repeats 15] [--no-chromium]

1. the domain-free inference on 600 stories x 60 contacts x 5 outcomes;
2. pgmpy answering the same three questions (story posterior, prediction of every unread contact, gain
   of every unread contact; 30 of 60 read), compared number by number;
3. whole opinions, JSON to JSON, each on a board not seen before (cold), then after one more reading:
   a sheet of 60 contacts, and one of 200, which is what it takes to tell 600 stories;
4. 1 and 3 again in the phone's Python, under Node and in a worker of Chromium.

This machine's speed wanders between runs, so only ratios within one run mean anything. Whole opinions in CPython are
told by the clock and by the processor's time beside it, median and least of the run: where others are at work the
clock says how long they took too. The process is set up as a server's is once it has started (`keep_for_good`). The
exit code is 1 when a bar is missed by the clock.
"""

import argparse
import json
import os
import shutil
import statistics
import sys
import time
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Protocol

import msgspec

from server.engine import latent
from server.network.serving import keep_for_good
from tests.load._bars import Bars
from tests.support import core_timing
from tests.support.sheets import one_more_reading, sized_sheet

REPEATS = 15
PGMPY_REPEATS = 3
FASTER_THAN_PGMPY = 50
EQUAL_WITHIN = 1e-9
OPINION_MS = 10
FIRST_MS = 80
PYODIDE_TIMES = 4
CHROMIUM_MORE_MS = 40
SMALL, LARGE, LARGE_CONTACTS = "60 contacts", "200 contacts", 200


class Phone(Protocol):
    """Where the phone's Python runs."""

    last_ms: float

    def opinion(self, sheet_json: bytes) -> object: ...
    def run(self, source: str) -> str: ...


def main(arguments: Sequence[str]) -> int:
    """Prints the table; 0 when every bar holds."""
    parser = argparse.ArgumentParser(prog="python3 tests load opinion", description=__doc__)
    parser.add_argument("--repeats", type=int, default=REPEATS)
    parser.add_argument("--no-chromium", action="store_true")
    options = parser.parse_args(arguments)
    bars = Bars()

    busy = os.getloadavg()[0]
    warning = ": others are at work, so the milliseconds say little" if busy > 1 else ""
    print(f"{os.cpu_count()} cores, load {busy:.1f}{warning}", flush=True)
    core = json.loads(core_timing.median_ms(options.repeats))
    _line("inference, 600 stories x 60 contacts, CPython", core)
    _against_pgmpy(options.repeats, bars)

    sizes = {SMALL: 60, LARGE: LARGE_CONTACTS}
    sheets = {name: _sheets(contacts, options.repeats) for name, contacts in sizes.items()}
    keep_for_good()
    whole = {}
    for name, of_size in sheets.items():
        whole[name], told = _opinions_here(of_size)
        _line(f"opinion, {name} ({_stories(of_size[0][0])} stories), CPython", whole[name])
        print(f"  of the processor: {told}", flush=True)
    bars.at_most(f"opinion, {SMALL}, one more reading, CPython", whole[SMALL]["one more"], OPINION_MS, "ms")
    bars.at_most(f"opinion, {SMALL}, the first on a board, CPython", whole[SMALL]["cold"], FIRST_MS, "ms")

    from tests.support.pyodide_node import PyodideNode

    with PyodideNode() as node:
        _on_phone("Node", node, core, sheets, whole, options.repeats, bars)
    chromium = None if options.no_chromium else shutil.which("chromium")
    if chromium is None:
        print("Chromium: not measured (left out, or not installed)")
    else:
        from tests.load._chromium import PyodideChromium

        with PyodideChromium(chromium) as browser:
            more = _on_phone("Chromium", browser, core, sheets, whole, options.repeats, bars)
        bars.at_most(f"opinion, {SMALL}, one more reading, Chromium", more[SMALL]["one more"], CHROMIUM_MORE_MS, "ms")
    return bars.verdict()


def _line(what: str, found: dict[str, float], beside: dict[str, float] | None = None) -> None:
    cells = []
    for name, ms in found.items():
        ratio = f" ({ms / beside[name]:.1f}x)" if beside is not None else ""
        cells.append(f"{name} {ms:.2f} ms{ratio}")
    print(f"{what}: {', '.join(cells)}", flush=True)


def _against_pgmpy(repeats: int, bars: Bars) -> None:
    from tests.support.pgmpy_oracle import PlainOracle

    model = core_timing.socket_sized_model()
    observed = core_timing.observed_outcomes(model, 30)
    rows = core_timing.rows_of(model, observed)
    unread = list(range(30, 60))
    oracle = PlainOracle(model)

    def ours() -> tuple[list[float], list[tuple[float, ...]], list[float]]:
        post = latent.posterior(latent.story_scores(model, rows))
        predicted = latent.outcome_predictions(model, latent.signature_masses(model, post))
        return post, [predicted[c] for c in unread], latent.story_gains(model, post, unread)

    our_ms = _median_ms(ours, repeats)
    their_ms = _median_ms(lambda: oracle.every_question(unread, observed), min(repeats, PGMPY_REPEATS))
    post, predicted, gains = ours()
    their_post, their_predicted, their_gains = oracle.every_question(unread, observed)
    apart = max(
        _apart(post, their_post), _apart(gains, their_gains),
        *(_apart(a, b) for a, b in zip(predicted, their_predicted, strict=True)),
    )  # fmt: skip
    print(f"same three questions, 30 of 60 read: ours {our_ms:.2f} ms, pgmpy {their_ms:.0f} ms", flush=True)
    bars.at_least("faster than pgmpy, same questions", their_ms / our_ms, FASTER_THAN_PGMPY, "times")
    bars.at_most("largest difference to pgmpy", apart, EQUAL_WITHIN, "")


def _apart(ours: Sequence[float], theirs: Sequence[float]) -> float:
    return max(abs(a - b) for a, b in zip(ours, theirs, strict=True))


def _median_ms(call: Callable[[], object], repeats: int) -> float:
    call()
    times = []
    for _ in range(repeats):
        start = time.perf_counter()
        call()
        times.append(time.perf_counter() - start)
    return 1000 * statistics.median(times)


def _sheets(contacts: int, repeats: int) -> list[tuple[bytes, bytes]]:
    """Sheets of different boards, half read, each with the one that has one more reading."""
    pairs = []
    for seed in range(repeats):
        sheet = sized_sheet(seed, contacts, contacts // 2)
        pairs.append((msgspec.json.encode(sheet), msgspec.json.encode(one_more_reading(sheet))))
    return pairs


def _opinions_here(pairs: list[tuple[bytes, bytes]]) -> tuple[dict[str, float], str]:
    """By the clock, and what the processor took of it in words."""
    from server.engine.door import opinion_json

    processor: list[float] = []

    def ask(sheet_json: bytes) -> float:
        start, worked = time.perf_counter(), time.process_time()
        opinion_json(sheet_json)
        processor.append(1000 * (time.process_time() - worked))
        return 1000 * (time.perf_counter() - start)

    found = _cold_and_more(ask, pairs)
    by_kind = {"cold": processor[0::2], "one more": processor[1::2]}
    told = [f"{kind} {statistics.median(ms):.2f} ms (least {min(ms):.2f})" for kind, ms in by_kind.items()]
    return found, ", ".join(told)


def _cold_and_more(ask: Callable[[bytes], float], pairs: list[tuple[bytes, bytes]]) -> dict[str, float]:
    """Every board is new, so the first sheet of each pair is cold and the second is not."""
    cold, more = [], []
    for first, second in pairs:
        cold.append(ask(first))
        more.append(ask(second))
    return {"cold": statistics.median(cold), "one more": statistics.median(more)}


def _stories(sheet_json: bytes) -> int:
    from server.engine.prepared import prepare
    from shared_models.sheet import BenchSheet

    sheet = msgspec.json.decode(sheet_json, type=BenchSheet)
    return len(prepare(sheet).stories)


def _on_phone(
    where: str, phone: Phone, core: dict[str, float], sheets: dict[str, list[tuple[bytes, bytes]]],
    whole: dict[str, dict[str, float]], repeats: int, bars: Bars,
) -> dict[str, dict[str, float]]:  # fmt: skip
    source = Path(core_timing.__file__).read_text(encoding="utf-8")
    there = json.loads(phone.run(f"{source}\nmedian_ms({repeats})"))
    _line(f"inference, {where}", there, core)

    def ask(sheet_json: bytes) -> float:
        phone.opinion(sheet_json)
        return phone.last_ms

    found = {}
    ratios = [there[name] / core[name] for name in core if name != "built"]
    for name, of_size in sheets.items():
        found[name] = _cold_and_more(ask, of_size)
        _line(f"opinion, {name}, {where}", found[name], whole[name])
        ratios += [found[name][kind] / whole[name][kind] for kind in found[name]]
    bars.at_most(f"largest ratio {where} to CPython", max(ratios), PYODIDE_TIMES, "times")
    return found


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
