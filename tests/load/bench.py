"""`python3 tests load bench`: what opinions are worth on a simulated bench, beside fixed rules and a near-ideal judge.

    python3 tests load bench [--jobs 2000] [--seed 1] [--pairs 400] [--keep FILE] [--pictures FOLDER] [--tables FILE]
    python3 tests load bench --only sweep [--jobs 200]
    python3 tests load bench --show N [--pairs N] [--seed 1]
    python3 tests load bench --rows FILE [--pictures FOLDER] [--tables FILE] [--as-baseline LABEL]

The world is in `tests/support/bench` (its `tables` holds every number); ngspice solves every circuit. The rows go to
a file outside the repository unless `--keep` says otherwise; `--rows` makes the tables of kept rows again. The same
seed gives the same numbers. `--pairs` is how many of the plain jobs are read at a smaller current too, and with the
other lead on ground; `--only sweep` leaves those out and what is walked touch by touch, which takes longest. `--show`
prints, of the first N plain jobs, each healthy contact that was flagged, each fault that was missed, and each story
that did not lead; with `--pairs`, what a second look made worse. What the near-ideal judge found is kept in
`.cache/bench` for as long as the world stays the same. `bench_baseline.json` holds the figures of the engine's first
form on the same jobs. The exit code is 1 when a bar is missed.
"""

import argparse
import json
import shutil
import sys
import tempfile
import time
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

from tests.support.bench.bars import figures, missed
from tests.support.bench.further import read_further
from tests.support.bench.jobs import Job, make_jobs
from tests.support.bench.pictures import curves_of, draw
from tests.support.bench.report import report
from tests.support.bench.run import CHUNK, run
from tests.support.bench.show import shown
from tests.support.bench.show_further import shown_further

WORKERS = 2
FEWEST_JOBS = 50
BASELINE = Path(__file__).with_name("bench_baseline.json")


def main(arguments: Sequence[str]) -> int:
    """Runs the bench, or takes kept rows, and prints its tables."""
    parser = _parser()
    options = parser.parse_args(arguments)
    if options.show is not None:
        return _show(options)
    if options.jobs < FEWEST_JOBS:
        parser.error(f"--jobs {options.jobs}: at least {FEWEST_JOBS}, or there is nothing to count; such as --jobs 200")
    rows = json.loads(options.rows.read_text()) if options.rows else _run(options)
    judged = {name: part for name, part in rows.items() if isinstance(part, list)}
    if options.as_baseline:
        told = {
            "label": options.as_baseline, "seed": rows["seed"], "jobs": rows["jobs"],
            "figures": figures(judged, "engine"), "curves": curves_of(judged, "engine"),
        }  # fmt: skip
        BASELINE.write_text(json.dumps(told, indent=1, sort_keys=True) + "\n", encoding="utf-8")
    baseline: dict[str, Any] = json.loads(BASELINE.read_text(encoding="utf-8")) if BASELINE.exists() else {}
    told = report(judged, baseline.get("figures", {}))
    if options.tables:
        options.tables.write_text(f"seed {rows['seed']}, {rows['jobs']} plain jobs\n\n{told}\n", encoding="utf-8")
    drawn = draw(judged, baseline.get("curves"), options.pictures) if options.pictures else []
    print(told)
    for path in drawn:
        print(f"drawn {path}")
    return 1 if missed(figures(judged, "engine")) else 0


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(prog="python3 tests load bench", description=__doc__)
    parser.add_argument("--jobs", type=int, default=2000, help="plain jobs; a tenth more of each hard weather")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--workers", type=int, default=WORKERS)
    parser.add_argument("--pairs", type=int, default=None, help="plain jobs that are looked at twice; a fifth of them")
    parser.add_argument("--only", choices=("sweep",), default=None, help="sweep: every contact once, no more")
    parser.add_argument("--show", metavar="N", type=int, default=None, help="what went wrong on the first N plain jobs")
    parser.add_argument("--keep", type=Path, default=None, help="where the rows are kept")
    parser.add_argument("--rows", type=Path, default=None, help="rows of an earlier run, instead of running")
    parser.add_argument("--pictures", type=Path, default=None, help="a folder to draw the pictures into")
    parser.add_argument("--tables", type=Path, default=None, help="a file for the tables")
    parser.add_argument(
        "--as-baseline", metavar="LABEL", default=None, help="keep the engine's figures as the baseline"
    )
    return parser


def _ngspice() -> str:
    found = shutil.which("ngspice")
    if found is None:
        sys.exit("The bench needs ngspice (Debian: apt-get install ngspice).")
    return found


def _show(options: argparse.Namespace) -> int:
    ngspice = _ngspice()

    def first(count: int) -> Iterator[Job]:
        # the same parts as a run's: what ngspice answered then is known
        for start in range(0, count, CHUNK):
            part = make_jobs(ngspice, options.seed, "plain", range(start, start + CHUNK))
            yield from (job for job in part if job.index < count)

    for line in shown(first(options.show)):
        print(line, flush=True)
    for line in shown_further(one for job in first(options.pairs or 0) for one in read_further(ngspice, [job])):
        print(line, flush=True)
    return 0


def _run(options: argparse.Namespace) -> dict[str, Any]:
    ngspice = _ngspice()
    started = time.monotonic()

    def say(what: str) -> None:
        print(f"  {time.monotonic() - started:5.0f} s  {what}", flush=True)

    further = options.jobs // 5 if options.pairs is None else options.pairs
    whole = options.only is None
    rows = {
        "seed": options.seed, "jobs": options.jobs,
        **run(
            ngspice, options.seed, options.jobs, workers=options.workers, say=say, walks=whole,
            further=further if whole else 0,
        ),
    }  # fmt: skip
    keep = options.keep or Path(tempfile.gettempdir()) / f"secondprobe-bench-{options.seed}-{options.jobs}.json"
    keep.write_text(json.dumps(rows))
    print(f"rows kept in {keep}")
    return rows


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
