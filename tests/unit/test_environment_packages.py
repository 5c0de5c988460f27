"""`.venv` is whole or not there; the user's own pip settings hold; the lock files name no registry."""

import json
import subprocess
from pathlib import Path

import pytest

from demo import debian, packages
from demo.steps import StepFailed


@pytest.mark.slow
def test_a_half_made_environment_is_replaced_by_a_whole_one(tmp_path: Path) -> None:
    left_behind = tmp_path / ".venv.new" / "bin"
    left_behind.mkdir(parents=True)
    (left_behind / "rubbish").write_text("")
    (tmp_path / ".venv").mkdir()
    (tmp_path / ".venv" / "old").write_text("")

    packages.make_venv(tmp_path / ".venv", tmp_path / "log", print)

    assert not (tmp_path / ".venv.new").exists()
    assert not (tmp_path / ".venv" / "old").exists()
    assert not (tmp_path / ".venv" / "bin" / "rubbish").exists()
    # a script of the environment runs from its final place
    pip = tmp_path / ".venv" / "bin" / "pip"
    done = subprocess.run([pip, "--version"], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    assert str(tmp_path / ".venv") in done.stdout
    assert ".venv.new" not in (tmp_path / ".venv" / "bin" / "activate").read_text()


def test_python_without_ensurepip_names_the_line_to_type(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(packages.importlib.util, "find_spec", lambda name: None)
    monkeypatch.setattr(packages, "is_root_on_debian", lambda: False)
    with pytest.raises(StepFailed) as failure:
        packages.make_venv(tmp_path / ".venv", tmp_path / "log", print)
    assert debian.install_line(["python3-venv"]) in str(failure.value)
    assert not (tmp_path / ".venv").exists()
    assert not (tmp_path / ".venv.new").exists()


def test_pips_settings_hold_for_uv(tmp_path: Path) -> None:
    settings = {"index-url": "https://packages.example/simple", "find-links": f"{tmp_path} {tmp_path}/gone"}
    found = packages.uv_environment(settings, {"PATH": "/bin"})
    assert found["UV_DEFAULT_INDEX"] == "https://packages.example/simple"
    assert found["UV_FIND_LINKS"] == str(tmp_path), "a folder that is not there would stop uv"
    assert found["PATH"] == "/bin"
    assert "UV_CONSTRAINT" not in found


def test_what_is_set_for_uv_itself_stays() -> None:
    settings = {"index-url": "https://one.example/simple"}
    found = packages.uv_environment(settings, {"UV_DEFAULT_INDEX": "https://two.example/simple"})
    assert found["UV_DEFAULT_INDEX"] == "https://two.example/simple"


def test_pips_settings_are_read_from_pip(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    config = tmp_path / "pip.conf"
    config.write_text("[global]\nextra-index-url =\n    https://a.example/simple\n    https://b.example/simple\n")
    monkeypatch.setenv("PIP_CONFIG_FILE", str(config))
    monkeypatch.setenv("PIP_TRUSTED_HOST", "a.example")
    found = packages.pip_settings(Path(packages.sys.executable))
    assert found["extra-index-url"].split() == ["https://a.example/simple", "https://b.example/simple"]
    assert found["trusted-host"] == "a.example"


def test_pip_takes_over_where_uv_cannot(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[list[str]] = []

    def run(command: list[object], log: Path, **rest: object) -> None:
        words = [str(word) for word in command]
        asked.append(words)
        if Path(words[0]).name == "uv":
            raise StepFailed("no such index")

    monkeypatch.setattr(packages, "run_logged", run)
    monkeypatch.setattr(packages, "pip_settings", lambda python: {})
    said: list[str] = []
    packages.install(tmp_path, ["-e", "."], tmp_path / "lock", tmp_path / "log", said.append, tmp_path)
    assert asked[-1][1:4] == ["-m", "pip", "install"]
    assert asked[-1][-2:] == ["-e", "."]
    assert "no such index" in said[0]


def test_requirements_lock_pins_everything_and_names_no_registry(repository: Path) -> None:
    text = (repository / "requirements.lock").read_text()
    assert "://" not in text
    pins = [line for line in text.splitlines() if line and not line.lstrip().startswith("#")]
    assert len(pins) > 50
    assert all("==" in line for line in pins)


def test_package_lock_names_no_registry_and_proves_every_file(repository: Path) -> None:
    text = (repository / "pwa" / "package-lock.json").read_text()
    assert '"resolved"' not in text
    entries = {name: entry for name, entry in json.loads(text)["packages"].items() if name}
    assert len(entries) > 100
    assert [name for name, entry in entries.items() if "integrity" not in entry and not entry.get("inBundle")] == []


def test_the_lock_holds_what_pyproject_asks_for(repository: Path) -> None:
    import tomllib

    from packaging.requirements import Requirement

    project = tomllib.loads((repository / "pyproject.toml").read_text())["project"]
    locked = dict(
        line.split(" ;")[0].strip().split("==")
        for line in (repository / "requirements.lock").read_text().splitlines()
        if "==" in line and not line.startswith((" ", "#")) and "<" not in line.split(";")[-1]
    )
    wanted = [*project["dependencies"], *(one for extra in project["optional-dependencies"].values() for one in extra)]
    for requirement in map(Requirement, wanted):
        assert requirement.specifier.contains(locked[requirement.name]), requirement


def test_a_library_counts_as_missing_only_if_it_cannot_be_loaded() -> None:
    assert debian.is_there("libc.so.6")
    assert not debian.is_there("libnothing-of-this-name.so.1")
    assert debian.is_there("sh")
    assert not debian.is_there("no-such-program-here")


def test_who_may_not_install_is_told_the_one_line(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(debian, "is_root_on_debian", lambda: False)
    said: list[str] = []
    needs = {"no-such-program-here": "one", "sh": "dash", "libnothing-of-this-name.so.1": "two"}
    assert debian.ensure(needs, tmp_path / "log", said.append) == ["one", "two"]
    assert "apt-get update && apt-get install -y --no-install-recommends one two" in said[0]
