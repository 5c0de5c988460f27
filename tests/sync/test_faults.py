"""The fault bench in short: a bad line, a killed server, a full disk, a restored record; all is there once."""

import subprocess
from pathlib import Path

import pytest

from tests.network.namespaces import WHAT_TO_DO
from tests.support.fault_bench import SHORT, Bench, small_disk


def test_nothing_is_lost_and_nothing_doubled_whatever_happens(tmp_path: Path) -> None:
    try:
        with small_disk(tmp_path / "disk") as disk:
            bench = Bench(disk, SHORT, seed=1)
            try:
                report = bench.run()
            finally:
                bench.shop.end()
            said = (tmp_path / "disk" / "server.log").read_text(errors="replace")
    except subprocess.CalledProcessError as error:
        pytest.skip(f"{WHAT_TO_DO} ({error.stderr.strip()})")
    assert report.wrong == []
    assert "disconnected" not in said, "a phone that went away in the middle is no failure of the server's"
    assert report.changes > 200 and report.photos > 5 and report.refused > 0
    missing = {*SHORT.weather, "request lost", "answer lost", "request delivered twice", "a phone's clock jumps"}
    assert missing <= report.injected.keys(), "it has shown nothing of what did not happen"
