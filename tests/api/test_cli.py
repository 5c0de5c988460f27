"""The command: the same opinion as the route, and mistakes told in words with status 2."""

import json
import subprocess
import sys
from pathlib import Path

import pytest

from server.cli import main
from server.engine.door import opinion_json
from tests.support.invented_board import kicad, pin_list
from tests.sync.process import ServerProcess, free_port

SHEETS = Path(__file__).parents[2] / "demo" / "sheets"
SHEET = SHEETS / "t10_new_socket_stripes.json"


def test_a_file_becomes_an_opinion_of_the_engines_own_bytes(capfdbinary: pytest.CaptureFixture[bytes]) -> None:
    assert main(["opinion", str(SHEET)]) == 0
    out, err = capfdbinary.readouterr()
    assert out == opinion_json(SHEET.read_bytes()) + b"\n" and err == b""


def test_text_is_for_people(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["opinion", str(SHEET), "--text"]) == 0
    out = capsys.readouterr().out
    assert "Next touch" in out and not out.lstrip().startswith("{") and out.endswith("\n") and not out.endswith("\n\n")


def test_a_board_files_sockets_are_listed_and_one_is_traced(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "main.txt"  # what a file is stands in it, not in its name
    path.write_text(kicad(), encoding="utf-8")
    assert main(["board", str(path), "--list"]) == 0
    listed = json.loads(capsys.readouterr().out)
    assert [socket["ref"] for socket in listed["sockets"]] == ["J1"] and listed["sockets"][0]["contacts"] == 14
    assert main(["board", str(path), "--socket", "J1"]) == 0
    traced = json.loads(capsys.readouterr().out)
    assert [pin["pin"] for pin in traced["pins"]][:2] == ["1", "2"]
    assert traced["board"]["sockets"][0]["contacts"][1]["fed_by"]["chip"] == "U2"
    assert main(["board", str(path), "--list", "--text"]) == 0
    assert "J1    14 contacts" in capsys.readouterr().out
    assert main(["board", str(path), "--socket", "J1", "--text"]) == 0
    text = capsys.readouterr().out
    assert "R2 1000 [HPD_CHIP] > U1.3" in text and "every role is proposed" in text


def test_a_list_of_pins_is_read_by_the_columns_that_are_told(tmp_path: Path,
        capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "pins.csv"
    path.write_text(pin_list(), encoding="utf-8")
    assert main(["board", str(path), "--list"]) == 2
    assert "example:  ref=1,pin=2,net=3" in capsys.readouterr().err
    assert main(["board", str(path), "--columns", "ref=Part,pin=Pin,net=Net", "--socket", "J1"]) == 0
    assert json.loads(capsys.readouterr().out)["board"]["read_from"] == "pin list"


@pytest.mark.parametrize(("content", "arguments", "lines"), [
    (b"G04 x*\n%FSLAX46Y46*%\n", ["--list"],
    ["secondprobe: This is a Gerber or a drill file: it draws copper and names no parts or nets."]),
    (kicad().encode()[:-40], ["--list"],
    ["secondprobe: The file ends in the middle: it was cut short, or a closing bracket is missing."]),
    (kicad().encode(), ["--socket", "J99"], ["given:    J99", "example:  J1"]),
])
def test_a_file_that_is_no_board_is_told_with_status_2(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], content: bytes, arguments: list[str], lines: list[str]
) -> None:
    path = tmp_path / "board"
    path.write_bytes(content)
    assert main(["board", str(path), *arguments]) == 2
    out, err = capsys.readouterr()
    assert out == "" and set(lines) <= set(err.splitlines())


def test_the_standard_input_is_read_for_a_dash() -> None:
    command = [sys.executable, "-m", "server.cli", "opinion", "-"]
    done = subprocess.run(command, input=SHEET.read_bytes(), capture_output=True, check=False, cwd=SHEETS.parents[1])
    assert (done.returncode, done.stderr) == (0, b"")
    assert done.stdout == opinion_json(SHEET.read_bytes()) + b"\n"


def spoilt(**fields: object) -> str:
    """The sheet with some fields replaced."""
    return json.dumps({**json.loads(SHEET.read_text(encoding="utf-8")), **fields})


@pytest.mark.parametrize(("text", "lines"), [
    ("", ["secondprobe: There is nothing to read.", "given:    nothing", "where:    the whole body"]),
    ("{", ["secondprobe: The JSON is broken: Input data was truncated."]),
    (spoilt(mode="wild"), ['given:    "wild"', "where:    mode", 'expected: one of "guided", "sweep"']),
    (spoilt(surprise=1), ["where:    surprise", "given:    1"]),
    (spoilt(socket="J99"), ["given:    J99", "example:  J7"]),
    ("[" * 100_000, ["secondprobe: The JSON is nested too deeply to be read."]),
])
def test_a_mistake_is_told_on_the_error_stream_with_status_2(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], text: str, lines: list[str]
) -> None:
    path = tmp_path / "sheet.json"
    path.write_text(text, encoding="utf-8")
    assert main(["opinion", str(path)]) == 2
    out, err = capsys.readouterr()
    assert out == "" and "Traceback" not in err
    for line in lines:
        assert line in err.splitlines()
    assert [line.split(":")[0] for line in err.splitlines()][1:] == ["given", "where", "expected", "example"]


def test_a_file_that_is_not_there(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["opinion", str(tmp_path / "none.json")]) == 2
    assert "No such file" in capsys.readouterr().err


def test_a_record_that_cannot_be_used_is_told_in_words(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "record.sqlite3").write_bytes(b"no record " * 1000)
    assert main(["serve", "--data", str(tmp_path)]) == 2
    assert "restore a copy" in capsys.readouterr().err


def test_the_server_says_where_it_is_and_ends_in_order(tmp_path: Path) -> None:
    (tmp_path / "data").mkdir()
    server = ServerProcess(tmp_path / "data", free_port())
    server.start()
    try:
        epoch = server.request("GET", "/api/health")["epoch"]
    finally:
        assert server.stop() == 0
    said = (tmp_path / "server.log").read_text(encoding="utf-8")
    assert said == f"Second Probe at http://localhost:{server.port} keeps its record in {tmp_path / 'data'}\n"
    server.start()
    try:
        assert server.request("GET", "/api/health")["epoch"] == epoch
    finally:
        server.stop()


def test_a_second_server_on_one_folder_is_told_the_next_step(tmp_path: Path) -> None:
    (tmp_path / "data").mkdir()
    server = ServerProcess(tmp_path / "data", free_port())
    server.start()
    try:
        options = ["--this-machine", "--data", str(tmp_path / "data"), "--port", str(free_port())]
        command = [sys.executable, "-m", "server.cli", "serve", *options]
        done = subprocess.run(command, capture_output=True, check=False, cwd=SHEETS.parents[1], timeout=60)
        assert done.returncode == 1 and done.stdout == b""
        assert b"Another server is using" in done.stderr and b"--data DIR" in done.stderr
        assert server.request("GET", "/api/health")["ok"] is True
    finally:
        server.stop()


def test_a_port_that_is_taken_is_an_error(tmp_path: Path) -> None:
    (tmp_path / "data").mkdir()
    server = ServerProcess(tmp_path / "data", free_port())
    server.start()
    try:
        options = ["--this-machine", "--data", str(tmp_path / "two"), "--port", str(server.port)]
        command = [sys.executable, "-m", "server.cli", "serve", *options]
        done = subprocess.run(command, capture_output=True, check=False, cwd=SHEETS.parents[1], timeout=60)
        assert done.returncode == 1 and b"already in use" in done.stderr
    finally:
        server.stop()
