"""`python3 tests` runs what it is asked to run."""

from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from tests.support import command, longest_first
from tests.support.part_times import part_of


def test_only_takes_a_folder_a_file_or_a_word() -> None:
    assert command.pytest_arguments("unit", no_skips=False)[-1] == "tests/unit"
    assert command.pytest_arguments("unit/test_no_skips.py", no_skips=False) == ["tests/unit/test_no_skips.py"]
    assert command.pytest_arguments("stamp", no_skips=False)[-2:] == ["-k", "stamp"]


def test_no_skips_reaches_pytest() -> None:
    assert "--no-skips" in command.pytest_arguments(None, no_skips=True)
    assert "--no-skips" not in command.pytest_arguments(None, no_skips=False)


def test_ci_runs_exactly_the_one_command(repository: Path) -> None:
    lines = (repository / ".ci" / "run").read_text().splitlines()
    assert [line for line in lines if "tests" in line and not line.startswith("#")] == ["exec python3 tests --no-skips"]


def test_an_unknown_benchmark_lists_the_known_ones(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "opinion.py").write_text("")
    (tmp_path / "_shared.py").write_text("")
    monkeypatch.setattr(command, "LOAD", tmp_path)
    with pytest.raises(SystemExit, match=r"'opinions' is no benchmark\. .* one of: opinion$"):
        command.run_load(["opinions"])


def test_a_benchmark_gets_the_words_after_its_name(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str],
) -> None:
    (tmp_path / "opinion.py").write_text("import sys\nif __name__ == '__main__':\n    print(sys.argv[1:])\n")
    monkeypatch.setattr(command, "LOAD", tmp_path)
    monkeypatch.setattr("sys.argv", ["tests"])
    command.run_load(["opinion", "--runs", "3"])
    assert capsys.readouterr().out == "['--runs', '3']\n"


def test_times_are_added_up_by_folder() -> None:
    assert part_of("tests/unit/deep/test_a.py::test_b[c/d]") == "tests/unit"
    assert part_of("tests/test_a.py::test_b") == "tests"


def test_the_longest_files_go_first_and_their_tests_in_their_own_order() -> None:
    short, named, browser = "unit/test_icons.py", "engine/test_bench.py", "browser/test_update.py"
    items: list[Any] = [
        SimpleNamespace(path=longest_first.TESTS / name, number=number)
        for number, name in enumerate((short, named, browser, short, named, browser))
    ]
    longest_first.pytest_collection_modifyitems(items)
    assert [item.number for item in items] == [1, 4, 2, 5, 0, 3]
    for name in longest_first.SECONDS_A_FILE:
        assert (longest_first.TESTS / name).is_file(), name
