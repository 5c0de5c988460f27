"""`python3 demo` says Ready when it answers, keeps its data, and ends cleanly."""

import contextlib
import json
import re
import signal
import socket
import subprocess
import sys
import urllib.request
from collections.abc import Iterator
from pathlib import Path

import pytest

from demo import serving
from demo.command import DEFAULT_PORT, parse

PROGRAM = """
import sys
from pathlib import Path
from demo.serving import run_demo
data, app, port, fresh = sys.argv[1:]
run_demo(Path(data), Path(app), port=int(port), open_browser=False, fresh=fresh == "fresh")
"""


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


@contextlib.contextmanager
def running(data: Path, app: Path, root: Path, *, fresh: bool = False) -> Iterator[tuple[subprocess.Popen[str], str]]:
    """A demo on its own data folder, from its Ready line on; gives the process and the address."""
    process = subprocess.Popen(
        [sys.executable, "-c", PROGRAM, str(data), str(app), str(free_port()), "fresh" if fresh else "keep"],
        cwd=root, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True,
    )
    assert process.stdout is not None
    said: list[str] = []
    try:
        for line in process.stdout:
            said.append(line)
            if line.startswith("Ready"):
                break
        ready = re.fullmatch(r"Ready {2}(http://127\.0\.0\.1:\d+/)\n", said[-1] if said else "")
        assert ready, "".join(said)
        assert any(str(data) in line for line in said), "it must name its data folder"
        yield process, ready[1]
    finally:
        if process.poll() is None:
            process.kill()
        process.wait()
        process.stdout.close()


def health(address: str) -> dict[str, object]:
    with urllib.request.urlopen(address + "api/health", timeout=10) as answer:
        return json.load(answer)


def stop(process: subprocess.Popen[str], how: signal.Signals) -> str:
    """Stops the demo and gives the rest of what it said."""
    process.send_signal(how)
    said, _ = process.communicate(timeout=30)
    return said


def test_the_demo_stops_cleanly_and_its_data_survive(tmp_path: Path, app_dir: Path, repository: Path) -> None:
    data = tmp_path / "data"
    with running(data, app_dir, repository) as (process, address):
        first = health(address)
        said = stop(process, signal.SIGINT)
        assert process.returncode == 0, said
        assert "Traceback" not in said
    assert first["changes"], "the shop is filled"

    with running(data, app_dir, repository) as (process, address):
        second = health(address)
        said = stop(process, signal.SIGTERM)
        assert process.returncode == 0, said
        assert "Traceback" not in said
    assert (second["epoch"], second["changes"]) == (first["epoch"], first["changes"])

    (data / "something-of-mine").write_text("old")
    with running(data, app_dir, repository, fresh=True) as (_, address):
        third = health(address)
    assert third["epoch"] != first["epoch"], "--fresh begins a new record"
    assert third["changes"] == first["changes"]
    assert not (data / "something-of-mine").exists()


def test_a_taken_port_names_a_way_out() -> None:
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        port = other.getsockname()[1]
        with pytest.raises(SystemExit) as ending:
            serving.listen(port)
    assert f"Port {port} on 127.0.0.1" in str(ending.value)
    assert "--port" in str(ending.value)


def test_two_demos_never_share_a_data_folder(tmp_path: Path) -> None:
    with (
        serving.only_demo_on(tmp_path),
        pytest.raises(SystemExit, match="Another demo is using"),
        serving.only_demo_on(tmp_path),
    ):
        pass
    with serving.only_demo_on(tmp_path):
        pass


@pytest.mark.parametrize("port", ["0", "65536", "-1", "http", "80.5", ""])
def test_a_port_that_is_none_is_refused_with_an_example(port: str, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as ending:
        parse([f"--port={port}"])
    assert ending.value.code == 2
    assert "a whole number from 1 to 65535" in capsys.readouterr().err


def test_the_port_is_the_same_at_every_start() -> None:
    assert parse([]).port == DEFAULT_PORT
