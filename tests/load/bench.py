"""`python3 tests load bench`: what opinions are worth on a simulated bench, beside fixed rules and a near-ideal judge.

    python3 tests load bench [--jobs 2000] [--seed 1] [--keep FILE]

The world is in `tests/support/bench` (its `tables` holds every number); ngspice solves every circuit. The rows go to
a file outside the repository unless `--keep` says otherwise. The same seed gives the same numbers.
"""

import argparse
import json
import shutil
import sys
import tempfile
import time
from collections.abc import Sequence
from pathlib import Path

from tests.support.bench.report import report
from tests.support.bench.run import run

WORKERS = 2


def main(arguments: Sequence[str]) -> int:
    """Runs the bench and prints its tables."""
    parser = argparse.ArgumentParser(prog="python3 tests load bench", description=__doc__)
    parser.add_argument("--jobs", type=int, default=2000, help="plain jobs; a tenth more of each hard weather")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--workers", type=int, default=WORKERS)
    parser.add_argument("--keep", type=Path, default=None, help="where the rows are kept")
    options = parser.parse_args(arguments)
    ngspice = shutil.which("ngspice")
    if ngspice is None:
        sys.exit("The bench needs ngspice (Debian: apt-get install ngspice).")
    started = time.monotonic()

    def say(what: str) -> None:
        print(f"  {time.monotonic() - started:5.0f} s  {what}", flush=True)

    rows = run(ngspice, options.seed, options.jobs, workers=options.workers, say=say)
    keep = options.keep or Path(tempfile.gettempdir()) / f"secondprobe-bench-{options.seed}-{options.jobs}.json"
    keep.write_text(json.dumps({"seed": options.seed, "jobs": options.jobs, **rows}))
    print(f"rows kept in {keep}")
    print(report(rows))
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
