"""`python3 tests load faults`: phones, a bad line, a server that everything happens to; is anything lost or doubled?

    python3 tests load faults [--seed 1] [--phones 24] [--changes 250] [--photos 5] [--browsers 2]
    python3 tests load faults --minutes 15

Twins of the protocol in Python and phones with the app's own code in Chromium edit the same jobs and take pictures,
through a proxy that loses, cuts, repeats, delays and reorders about a third of their requests. Meanwhile the server
is killed and hangs, the power goes, its disk fills up, its record is restored from a copy made earlier, and clocks
jump to 2040 and back, its own too. Then all is quiet, every phone comes to its end, and everything is counted: each
change and picture exactly once, every record equal, value by value. With `--minutes` one server lives through so
long, and what it holds is told for each round of what happens. Prints the tables that DEVELOPERS.md keeps. Needs
root, the record lies on a small disk of its own, and strace. The exit code is 1 when anything was lost, doubled or
differs.
"""

import argparse
import dataclasses
import subprocess
import sys
import tempfile
from pathlib import Path

from demo.environment import VENV
from demo.node import choose_node
from tests.support.fault_bench import LONG, SOAK, Bench, Report, small_disk
from tests.support.fault_shop import Held

ROOT = Path(__file__).resolve().parents[2]


def built_test_page(out: Path) -> Path:
    """The page that puts the app's own code within reach."""
    node = choose_node(VENV)
    assert node is not None, "no Node: run python3 tests, which brings one"
    command = [str(node.node), "node_modules/vite/bin/vite.js", "build", "--config", "test_page/vite.config.ts"]
    subprocess.run([*command, "--outDir", str(out)], cwd=ROOT / "pwa", check=True, capture_output=True)
    return out


def told(report: Report) -> str:
    """The table."""
    lines = [f"| {what} | {count} times |" for what, count in sorted(report.injected.items())]
    lines += [f"| {what} | {count} times |" for what, count in sorted(report.answers.items())
              if what in ("answer 507", "answer 401", "picture continued")]
    return "\n".join(["| what happened | how often |", "|---|---|", *lines])


def rounds_told(rounds: list[Held]) -> str:
    """What the server held after each round."""
    lines = [f"| {number} | {one.changes:,} | {one.memory_mb:.0f} | {one.open_files} | {one.record_mb:.1f} |"
             f" {one.log_mb:.1f} |" for number, one in enumerate(rounds, start=1)]
    head = ["| round | changes | memory, MB | open files | record, MB | its log, MB |", "|---|---|---|---|---|---|"]
    return "\n".join([*head, *lines])


def main(arguments: list[str]) -> int:
    """Runs it; the exit code."""
    parser = argparse.ArgumentParser(prog="python3 tests load faults", description="Was anything lost or doubled?")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--minutes", type=float, default=0)
    for name in ("phones", "changes", "photos", "browsers"):
        parser.add_argument(f"--{name}", type=int)
    given = parser.parse_args(arguments)
    told_by_hand = {"phones": given.phones, "changes_a_phone": given.changes, "photos_a_phone": given.photos,
                    "browsers": given.browsers, "minutes": given.minutes}
    size = dataclasses.replace(SOAK if given.minutes else LONG,
                               **{name: value for name, value in told_by_hand.items() if value is not None})
    with tempfile.TemporaryDirectory() as folder, small_disk(Path(folder) / "disk") as disk:
        app = built_test_page(Path(folder) / "test_page") if size.browsers else None
        bench = Bench(disk, size, given.seed, lambda what: print(f"  {what}", flush=True), app)
        try:
            report = bench.run()
        finally:
            bench.shop.end()
    print(told(report))
    if given.minutes:
        print(rounds_told(bench.rounds))
    print(f"{size.phones} twins and {size.browsers} phones in Chromium; {report.changes} changes, {report.refused} of"
          f" them such as no shop takes; {report.photos} pictures; {report.requests} requests; {report.failed_requests}"
          f" of the twins' rounds came to nothing; {report.seconds:.0f} s")
    print("\n".join(report.wrong) or "each change and each picture is there exactly once; all records are equal")
    return 1 if report.wrong else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
